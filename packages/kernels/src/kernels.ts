import { tripleCount } from './check-buffers.ts';
import type { EstimatedNormals, PointIndex } from './point-index.ts';
import { estimateNormals as referenceNormals } from './reference/normals.ts';
import { buildPointIndex as buildReferencePoints } from './reference/point-index.ts';
import { buildTriangleIndex as buildReferenceTriangles } from './reference/triangle-index.ts';
import type { TriangleIndex } from './triangle-index.ts';
import { KernelInstance } from './wasm/kernel-instance.ts';
import { estimateNormalsInTree } from './wasm/normals.ts';
import { WasmPointIndex } from './wasm/point-index.ts';
import { WasmTriangleIndex } from './wasm/triangle-index.ts';
import { webAssembly } from './wasm/web-assembly.ts';

/** `wasm`: compiled, with SIMD. `reference`: plain TypeScript, the same results bit for bit, much slower. */
export type KernelKind = 'wasm' | 'reference';

let chosen: KernelKind = webAssembly() ? 'wasm' : 'reference';
let instance: KernelInstance | null = null;

/** Chooses the kernels for indices that are built from now on. The default is `wasm` where the platform has it. */
export function useKernels(kind: KernelKind): void {
  chosen = kind;
}

/** The kernels in use. */
export function kernelKind(): KernelKind {
  return chosen;
}

/** The instance of this thread; made when first needed. */
export function kernelInstance(): KernelInstance {
  instance ??= KernelInstance.create();
  return instance;
}

/**
 * Builds an index for neighbour searches; the positions are copied.
 *
 * Method   k-d tree by median splits (Friedman, Bentley & Finkel 1977), leaves of 8 points, boxes four wide.
 * Cost     about 0.5 us a point; 20 bytes a point until `dispose`.
 *
 * @param positions n x 3; points with a coordinate that is no finite number are never found
 * @throws RangeError when the buffer holds no xyz triples or the memory does not suffice
 */
export function buildPointIndex(positions: Float32Array): PointIndex {
  return chosen === 'wasm' ? WasmPointIndex.build(kernelInstance(), positions) : buildReferencePoints(positions);
}

/**
 * Normals by principal components of the k nearest neighbours, the point itself among them.
 *
 * Method   covariance of the neighbours in float64 relative to the point (Hoppe et al. 1992), smallest eigenvector;
 *          surface variation by Pauly, Gross & Kobbelt 2002.
 * Limits   the sign is arbitrary; 0 0 0 where fewer than three neighbours exist or they lie on a line.
 *
 * @param index an index built from the same positions; one is built for the call when absent
 * @throws RangeError when the index has another number of points
 */
export function estimateNormals(positions: Float32Array, k: number, index?: PointIndex): EstimatedNormals {
  const count = tripleCount(positions, 'positions');
  if (index && index.pointCount !== count) {
    throw new RangeError(`The index holds ${index.pointCount} points; the positions are ${count}.`);
  }
  if (index instanceof WasmPointIndex) return estimateNormalsInTree(index, k);
  if (index || chosen === 'reference') return referenceNormals(positions, k, index);
  const own = WasmPointIndex.build(kernelInstance(), positions);
  try {
    return estimateNormalsInTree(own, k);
  } finally {
    own.dispose();
  }
}

/**
 * Builds an index for closest points and rays; positions and triangles are copied.
 *
 * Method   boxes over the triangles, four wide, by median splits of their centres; leaves of 4 triangles.
 * Cost     about 1 us a triangle; 50 bytes a triangle until `dispose`.
 *
 * @throws RangeError when the buffers are no triples, a triangle names a vertex that does not exist, or the memory
 *         does not suffice
 */
export function buildTriangleIndex(positions: Float32Array, triangles: Uint32Array): TriangleIndex {
  return chosen === 'wasm'
    ? WasmTriangleIndex.build(kernelInstance(), positions, triangles)
    : buildReferenceTriangles(positions, triangles);
}
