import type { RunContext } from '../base/index.ts';
import type { PointIndex } from '../geometry/index.ts';
import type { Vec3 } from '../math/index.ts';
import type { Viewpoint } from '../model/index.ts';

/** Neighbours through which a sign is passed on; the second number only where the first leaves more than one patch. */
const NEIGHBOURS = [8, 30];
const CHUNK = 4096;
/** Steps of confidence: edges are taken surest first, in this many classes, so that sorting is linear. */
const CLASSES = 1024;

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
 * @returns number of patches
 */
export async function propagateOrientation(
  positions: Float32Array,
  normals: Float32Array,
  index: PointIndex,
  context: RunContext,
): Promise<number> {
  const tree = new SignedForest(positions.length / 3);
  for (const [stage, neighbours] of NEIGHBOURS.entries()) {
    if (tree.patchCount === 1) break;
    await joinNeighbours(positions, normals, index, neighbours, tree, context.part(stage / 2, (stage + 1) / 2));
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
    this.#parent = Int32Array.from({ length: pointCount }, (_, i) => i);
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

  rootsOfAll(): Int32Array {
    return this.#parent.map((_, i) => this.find(i));
  }
}

/** Joins each point with its neighbours, surest relative sign first. */
async function joinNeighbours(
  positions: Float32Array,
  normals: Float32Array,
  index: PointIndex,
  neighbours: number,
  tree: SignedForest,
  context: RunContext,
): Promise<void> {
  const pointCount = positions.length / 3;
  const size = Math.min(neighbours + 1, pointCount);
  const found = new Int32Array(pointCount * size);
  const squared = new Float32Array(CHUNK * size);
  const signs = new Float32Array(found.length);
  const start = new Uint32Array(CLASSES + 2);
  const classOf = (value: number): number => CLASSES - Math.min(CLASSES, Math.floor(Math.abs(value) * CLASSES));
  for (let from = 0; from < pointCount; from += CHUNK) {
    const to = Math.min(pointCount, from + CHUNK);
    index.kNearest(
      positions.subarray(3 * from, 3 * to),
      size,
      found.subarray(from * size, to * size),
      squared.subarray(0, (to - from) * size),
    );
    for (let i = from; i < to; i++) {
      for (let edge = i * size; edge < (i + 1) * size; edge++) {
        signs[edge] = relativeSign(positions, normals, i, found[edge]);
        start[classOf(signs[edge]) + 1]++;
      }
    }
    await context.checkpoint(to / pointCount);
  }
  for (let c = 0; c <= CLASSES; c++) start[c + 1] += start[c];
  const order = new Uint32Array(found.length);
  for (let edge = 0; edge < found.length; edge++) order[start[classOf(signs[edge])]++] = edge;
  for (const edge of order) {
    if (signs[edge] !== 0) tree.join(Math.floor(edge / size), found[edge], signs[edge] < 0);
  }
}

/** Positive where two neighbours' normals lie on one side, the nearer to 1 the surer; 0 for no neighbour. */
function relativeSign(positions: Float32Array, normals: Float32Array, i: number, j: number): number {
  if (j < 0 || j === i) return 0;
  let along = 0;
  let ei = 0;
  let ej = 0;
  let length = 0;
  for (let a = 0; a < 3; a++) {
    const e = positions[3 * j + a] - positions[3 * i + a];
    along += normals[3 * i + a] * normals[3 * j + a];
    ei += e * normals[3 * i + a];
    ej += e * normals[3 * j + a];
    length += e * e;
  }
  return length > 0 ? along - (2 * ei * ej) / length : 0;
}

/** Gives each patch the sign for which its normals point away from its centroid in sum. */
function orientPatchesOutward(positions: Float32Array, normals: Float32Array, patchOf: Int32Array): number {
  const pointCount = positions.length / 3;
  const sums = new Map<number, { count: number; centroid: [number, number, number]; outward: number }>();
  for (let i = 0; i < pointCount; i++) {
    let sum = sums.get(patchOf[i]);
    if (sum === undefined) {
      sum = { count: 0, centroid: [0, 0, 0], outward: 0 };
      sums.set(patchOf[i], sum);
    }
    sum.count++;
    for (let a = 0; a < 3; a++) sum.centroid[a] += positions[3 * i + a];
  }
  for (const sum of sums.values()) for (let a = 0; a < 3; a++) sum.centroid[a] /= sum.count;
  for (let i = 0; i < pointCount; i++) {
    const sum = sums.get(patchOf[i]);
    if (sum === undefined) continue;
    const c: Vec3 = sum.centroid;
    for (let a = 0; a < 3; a++) sum.outward += normals[3 * i + a] * (positions[3 * i + a] - c[a]);
  }
  for (let i = 0; i < pointCount; i++) if ((sums.get(patchOf[i])?.outward ?? 0) < 0) flip(normals, 3 * i);
  return sums.size;
}
