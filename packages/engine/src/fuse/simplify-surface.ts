import { MeshoptSimplifier } from 'meshoptimizer';
import { buildMeshTopology, buildTriangleIndex, splitNonManifold } from '../geometry/index.ts';
import type { FusedSurface } from './fused-surface.ts';
import { pickVertices } from './surface-arrays.ts';

/** A surface with fewer triangles, and how far it strays from the one it was made from. */
export interface SimplifiedSurface {
  readonly surface: FusedSurface;
  /** Largest distance of a vertex of the original to the simplified surface, mm; measured, at most the asked deviation. */
  readonly largestDeviation: number;
}

/** Each try asks for this share of the last one's deviation, until the measured deviation is within what was asked. */
const TIGHTEN = 0.6;
const MOST_TRIES = 8;
const QUERY_CHUNK = 3 * 4096;

/**
 * Takes away triangles that the shape does not need.
 *
 * Method   edge collapses by quadric error (meshoptimizer), onto vertices that exist, so each vertex keeps its own sources,
 *          sigma and colour; borders stay where they are. The deviation is then measured, not believed: the collapses are
 *          repeated with a smaller error until every vertex of the original is near enough.
 * Units    mm.
 *
 * @param maxDeviation largest distance allowed, above 0
 */
export async function simplifySurface(surface: FusedSurface, maxDeviation: number): Promise<SimplifiedSurface> {
  if (!(maxDeviation > 0)) throw new RangeError('The deviation must be a positive length.');
  if (surface.triangles.length === 0) return { surface, largestDeviation: 0 };
  await MeshoptSimplifier.ready;
  let asked = maxDeviation;
  for (let round = 0; round < MOST_TRIES; round++, asked *= TIGHTEN) {
    const [triangles] = MeshoptSimplifier.simplify(surface.triangles, surface.positions, 3, 0, asked, [
      'LockBorder',
      'ErrorAbsolute',
    ]);
    if (triangles.length === 0) continue;
    const largestDeviation = largestDistanceToMesh(surface.positions, surface.positions, triangles, 4 * maxDeviation);
    if (largestDeviation > maxDeviation) continue;
    return { surface: withTriangles(surface, triangles), largestDeviation };
  }
  return { surface, largestDeviation: 0 };
}

/** Infinity where a point is further than `search` from the mesh. */
function largestDistanceToMesh(
  points: Float32Array,
  positions: Float32Array,
  triangles: Uint32Array,
  search: number,
): number {
  const index = buildTriangleIndex(positions, triangles);
  let largest = 0;
  for (let from = 0; from < points.length; from += QUERY_CHUNK) {
    const queries = points.subarray(from, Math.min(points.length, from + QUERY_CHUNK));
    const count = queries.length / 3;
    const squares = new Float32Array(count);
    index.closestPoints(queries, search, new Int32Array(count), new Float32Array(queries.length), squares);
    for (const square of squares) if (square > largest) largest = square;
  }
  index.dispose();
  return Math.sqrt(largest);
}

/** The surface with other triangles over its vertices, without vertices that no triangle uses, manifold. */
function withTriangles(surface: FusedSurface, triangles: Uint32Array): FusedSurface {
  const vertexCount = surface.sigmaNoise.length;
  const split = splitNonManifold(triangles, vertexCount, buildMeshTopology(triangles, vertexCount));
  const places = new Int32Array(split.vertexCount).fill(-1);
  const order: number[] = [];
  const out = new Uint32Array(split.triangles.length);
  const used = new Uint8Array(split.vertexCount);
  for (const vertex of split.triangles) used[vertex] = 1;
  for (let v = 0; v < used.length; v++) {
    if (!used[v]) continue;
    places[v] = order.length;
    order.push(split.sourceVertex[v]);
  }
  for (let n = 0; n < out.length; n++) out[n] = places[split.triangles[n]];
  const picked = pickVertices({ ...surface, positions: Float64Array.from(surface.positions) }, Uint32Array.from(order));
  return {
    ...surface,
    ...picked,
    positions: Float32Array.from(picked.positions),
    dominantSource: Uint16Array.from(order, (v) => surface.dominantSource[v]),
    triangles: out,
  };
}
