import type { RunContext } from '../base/index.ts';
import type { PointIndex } from '../geometry/index.ts';
import type { Viewpoint } from '../model/index.ts';

/** Neighbours through which patches are joined that the nearest few leave apart. */
const FAR_NEIGHBOURS = 30;
/** Relative signs surer than this are taken as they come: 0.9 is a bend of 26 deg. The others wait, the surest first. */
const SURE = 0.9;

/** Turns each normal towards the instrument. `position` of a viewpoint is relative to the points' origin. */
export function orientByViewpoint(positions: Float32Array, normals: Float32Array, viewpoint: Viewpoint): void {
  for (let i = 0; i < positions.length; i += 3) {
    const [x, y, z] =
      viewpoint.kind === 'direction'
        ? viewpoint.direction
        : [
            viewpoint.position[0] - positions[i],
            viewpoint.position[1] - positions[i + 1],
            viewpoint.position[2] - positions[i + 2],
          ];
    if (normals[i] * x + normals[i + 1] * y + normals[i + 2] * z < 0) flip(normals, i);
  }
}

/** Share of the normals that point to the side of the instrument, 0 to 1. */
export function shareTowardsViewpoint(positions: Float32Array, normals: Float32Array, viewpoint: Viewpoint): number {
  let towards = 0;
  for (let i = 0; i < positions.length; i += 3) {
    const [x, y, z] =
      viewpoint.kind === 'direction'
        ? viewpoint.direction
        : [
            viewpoint.position[0] - positions[i],
            viewpoint.position[1] - positions[i + 1],
            viewpoint.position[2] - positions[i + 2],
          ];
    if (normals[i] * x + normals[i + 1] * y + normals[i + 2] * z >= 0) towards++;
  }
  return positions.length > 0 ? towards / (positions.length / 3) : 1;
}

function flip(normals: Float32Array, at: number): void {
  // Not the sign alone: zero stays zero.
  normals[at] = 0 - normals[at];
  normals[at + 1] = 0 - normals[at + 1];
  normals[at + 2] = 0 - normals[at + 2];
}

/**
 * Gives neighbouring normals the same side, and each connected patch the side away from its own middle.
 *
 * Method   the sign between two neighbours is that of n_i . n_j - 2 (e . n_i)(e . n_j), e the direction from one to the
 *          other: the normal carried over by the arc between them (Koenig & Gumhold 2009), which turns the sign between the
 *          two faces of a sheet. Surest edges first, joined with a union-find that keeps the relative sign (Kruskal 1956);
 *          memory n k, time near linear, no triangulation.
 *
 * @param neighbours the nearest few of each point, equally many, -1 where none
 * @returns number of patches
 */
export async function propagateOrientation(
  positions: Float32Array,
  normals: Float32Array,
  neighbours: Int32Array | null,
  index: PointIndex,
  context: RunContext,
): Promise<number> {
  const pointCount = positions.length / 3;
  const tree = new SignedForest(pointCount);
  if (neighbours !== null && pointCount > 0) joinNeighbours(positions, normals, neighbours, null, tree);
  await context.checkpoint(0.5);
  if (tree.patchCount > 1) {
    // Points outside the largest patch look farther for a patch to join.
    const outside = tree.pointsOutsideLargest();
    const size = Math.min(FAR_NEIGHBOURS + 1, pointCount);
    const queries = new Float32Array(3 * outside.length);
    for (let s = 0; s < outside.length; s++) {
      queries.set(positions.subarray(3 * outside[s], 3 * outside[s] + 3), 3 * s);
    }
    const found = new Int32Array(outside.length * size);
    index.kNearest(queries, size, found, new Float32Array(found.length));
    joinNeighbours(positions, normals, found, outside, tree);
  }
  const patchOf = tree.rootsOfAll();
  for (let i = 0; i < patchOf.length; i++) if (tree.isTurned(i)) flip(normals, 3 * i);
  return orientPatchesOutward(positions, normals, patchOf);
}

/** Union-find over points that keeps whether a point's sign is turned against its root's. */
class SignedForest {
  readonly #parent: Int32Array;
  readonly #turned: Uint8Array;
  patchCount: number;

  constructor(pointCount: number) {
    this.#parent = new Int32Array(pointCount);
    for (let i = 0; i < pointCount; i++) this.#parent[i] = i;
    this.#turned = new Uint8Array(pointCount);
    this.patchCount = pointCount;
  }

  find(point: number): number {
    const parent = this.#parent;
    const turned = this.#turned;
    let root = point;
    let sign = 0;
    while (parent[root] !== root) {
      sign ^= turned[root];
      root = parent[root];
    }
    let at = point;
    while (at !== root && parent[at] !== root) {
      const next = parent[at];
      const rest = sign ^ turned[at];
      parent[at] = root;
      turned[at] = sign;
      at = next;
      sign = rest;
    }
    return root;
  }

  /** After `find(point)`. */
  isTurned(point: number): boolean {
    return this.#parent[point] !== point && this.#turned[point] === 1;
  }

  join(i: number, j: number, areOpposite: boolean): void {
    const a = this.find(i);
    const b = this.find(j);
    if (a === b) return;
    const isTurn = (this.isTurned(i) !== this.isTurned(j)) !== areOpposite;
    // The lower number stays root: the result does not depend on how deep the trees are.
    const high = Math.max(a, b);
    this.#parent[high] = Math.min(a, b);
    this.#turned[high] = isTurn ? 1 : 0;
    this.patchCount--;
  }

  /** Points outside the patch with the most points (of equal ones the first). */
  pointsOutsideLargest(): Uint32Array {
    const roots = this.rootsOfAll();
    const sizes = new Uint32Array(roots.length);
    let largest = 0;
    for (const root of roots) sizes[root]++;
    for (let i = 0; i < sizes.length; i++) if (sizes[i] > sizes[largest]) largest = i;
    const outside = new Uint32Array(roots.length - (roots.length > 0 ? sizes[largest] : 0));
    let count = 0;
    for (let i = 0; i < roots.length; i++) if (roots[i] !== largest) outside[count++] = i;
    return outside;
  }

  rootsOfAll(): Int32Array {
    const roots = new Int32Array(this.#parent.length);
    for (let i = 0; i < roots.length; i++) roots[i] = this.find(i);
    return roots;
  }
}

/**
 * Joins points with their neighbours: sure relative signs first, then the others by how sure they are.
 *
 * @param neighbours equally many a point, -1 where none
 * @param points the points they belong to; null: all in order
 */
function joinNeighbours(
  positions: Float32Array,
  normals: Float32Array,
  neighbours: Int32Array,
  points: Uint32Array | null,
  tree: SignedForest,
): void {
  const pointCount = points === null ? positions.length / 3 : points.length;
  const size = neighbours.length / Math.max(1, pointCount);
  const waiting: number[] = [];
  for (let s = 0; s < pointCount; s++) {
    const i = points === null ? s : points[s];
    for (let k = 0; k < size; k++) {
      const j = neighbours[s * size + k];
      if (j < 0 || j === i) continue;
      const sign = relativeSign(positions, normals, i, j);
      if (Math.abs(sign) > SURE) tree.join(i, j, sign < 0);
      else if (sign !== 0) waiting.push(s * size + k);
    }
  }
  const open: { readonly i: number; readonly j: number; readonly sign: number }[] = [];
  for (const edge of waiting) {
    const i = points === null ? Math.floor(edge / size) : points[Math.floor(edge / size)];
    const j = neighbours[edge];
    if (tree.find(i) !== tree.find(j)) open.push({ i, j, sign: relativeSign(positions, normals, i, j) });
  }
  open.sort((p, q) => Math.abs(q.sign) - Math.abs(p.sign) || p.i - q.i || p.j - q.j);
  for (const { i, j, sign } of open) tree.join(i, j, sign < 0);
}

/** Positive where two neighbours' normals lie on one side, the nearer to 1 the surer. */
function relativeSign(positions: Float32Array, normals: Float32Array, i: number, j: number): number {
  const p = 3 * i;
  const q = 3 * j;
  const x = positions[q] - positions[p];
  const y = positions[q + 1] - positions[p + 1];
  const z = positions[q + 2] - positions[p + 2];
  const length = x * x + y * y + z * z;
  const along = normals[p] * normals[q] + normals[p + 1] * normals[q + 1] + normals[p + 2] * normals[q + 2];
  const ei = x * normals[p] + y * normals[p + 1] + z * normals[p + 2];
  const ej = x * normals[q] + y * normals[q + 1] + z * normals[q + 2];
  return length > 0 ? along - (2 * ei * ej) / length : 0;
}

/** Gives each patch the sign for which its normals point away from its centroid in sum. Returns the number of patches. */
function orientPatchesOutward(positions: Float32Array, normals: Float32Array, patchOf: Int32Array): number {
  const pointCount = patchOf.length;
  const numberOf = new Int32Array(pointCount);
  let patches = 0;
  for (let i = 0; i < pointCount; i++) numberOf[i] = patchOf[i] === i ? patches++ : numberOf[patchOf[i]];
  const counts = new Float64Array(patches);
  const centroids = new Float64Array(3 * patches);
  const outward = new Float64Array(patches);
  for (let i = 0; i < pointCount; i++) {
    const patch = numberOf[i];
    counts[patch]++;
    for (let a = 0; a < 3; a++) centroids[3 * patch + a] += positions[3 * i + a];
  }
  for (let i = 0; i < centroids.length; i++) centroids[i] /= counts[Math.floor(i / 3)];
  for (let i = 0; i < pointCount; i++) {
    const patch = numberOf[i];
    for (let a = 0; a < 3; a++) {
      outward[patch] += normals[3 * i + a] * (positions[3 * i + a] - centroids[3 * patch + a]);
    }
  }
  for (let i = 0; i < pointCount; i++) if (outward[numberOf[i]] < 0) flip(normals, 3 * i);
  return patches;
}
