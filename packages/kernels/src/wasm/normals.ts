import { requireNeighbourCount } from '../check-buffers.ts';
import type { EstimatedNormals } from '../point-index.ts';
import type { WasmPointIndex } from './point-index.ts';

const LEAF_SIZE = 8;
/** Leaves of one call into the compiled code. */
const LEAVES = 512;

/** Normals of the points an index was built from; search and sums in one pass over the tree's leaves. */
export function estimateNormalsInTree(index: WasmPointIndex, k: number): EstimatedNormals {
  requireNeighbourCount(k);
  const { instance, pointCount } = index;
  const tree = index.block().start;
  const leafCount = Math.ceil(index.entryCount / LEAF_SIZE);
  const sizes = [pointCount * 12, pointCount * 4, instance.functions.scratchSize(k)];
  return instance.borrow(sizes, (normals, variation, scratch) => {
    const { functions } = instance;
    functions.prepareScratch(scratch);
    if (index.entryCount < pointCount) {
      instance.float32(normals, 3 * pointCount).fill(0);
      instance.float32(variation, pointCount).fill(0);
    }
    for (let leaf = 0; leaf < leafCount; leaf += LEAVES) {
      const end = Math.min(leafCount, leaf + LEAVES);
      functions.leafNormals(tree, leaf, end, k, normals, variation, scratch);
    }
    return {
      normals: Float32Array.from(instance.float32(normals, 3 * pointCount)),
      variation: Float32Array.from(instance.float32(variation, pointCount)),
    };
  });
}
