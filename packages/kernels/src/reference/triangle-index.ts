import { requireDistance, requireLength, requireTriangles, tripleCount } from '../check-buffers.ts';
import type { TriangleIndex } from '../triangle-index.ts';
import { closestPointToOrigin } from './closest-point-on-triangle.ts';
import { rayDistance } from './ray-triangle.ts';
import { buildTriangleTree, type TriangleTree } from './triangle-tree.ts';

/** A little above 1: boxes are kept where rounding could hide a triangle that is as near as the best one. */
const SLACK = 1 + 1e-6;
/** Squared distances beyond the largest float32 count as none. */
const LARGEST = 3.4028234663852886e38;

/**
 * Builds a tree of boxes over a mesh in plain TypeScript: the reference that the compiled kernel is compared with, and
 * its fallback.
 *
 * @throws RangeError when the buffers are no triples or a triangle names a vertex that does not exist
 */
export function buildTriangleIndex(positions: Float32Array, triangles: Uint32Array): TriangleIndex {
  requireTriangles(triangles, tripleCount(positions, 'positions'));
  const tree = buildTriangleTree(positions, triangles);
  const found = new Float64Array(5);
  return {
    triangleCount: triangles.length / 3,
    closestPoints(queries, maxDistance, outTriangle, outPoint, outDistanceSquared) {
      const count = tripleCount(queries, 'queries');
      requireDistance(maxDistance, 'maxDistance');
      requireLength(outTriangle, count, 'outTriangle');
      requireLength(outPoint, 3 * count, 'outPoint');
      requireLength(outDistanceSquared, count, 'outDistanceSquared');
      const limit = Math.min(maxDistance * maxDistance, LARGEST);
      for (let i = 0; i < count; i++) {
        const x = queries[3 * i];
        const y = queries[3 * i + 1];
        const z = queries[3 * i + 2];
        const triangle = closest(positions, triangles, tree, x, y, z, limit, found);
        outTriangle[i] = triangle;
        outPoint[3 * i] = triangle < 0 ? NaN : x + found[0];
        outPoint[3 * i + 1] = triangle < 0 ? NaN : y + found[1];
        outPoint[3 * i + 2] = triangle < 0 ? NaN : z + found[2];
        outDistanceSquared[i] = triangle < 0 ? Infinity : found[3];
      }
    },
    castRays(origins, directions, maxDistance, outTriangle, outDistance) {
      const count = tripleCount(origins, 'origins');
      requireLength(directions, 3 * count, 'directions');
      requireDistance(maxDistance, 'maxDistance');
      requireLength(outTriangle, count, 'outTriangle');
      requireLength(outDistance, count, 'outDistance');
      for (let i = 0; i < count; i++) {
        outTriangle[i] = firstHit(positions, triangles, tree, origins, directions, 3 * i, maxDistance, found);
        outDistance[i] = outTriangle[i] < 0 ? Infinity : found[0];
      }
    },
    dispose() {},
  };
}

function closest(
  positions: Float32Array,
  triangles: Uint32Array,
  tree: TriangleTree,
  x: number,
  y: number,
  z: number,
  limit: number,
  out: Float64Array,
): number {
  let best = -1;
  let bestDistance = limit;
  if (!Number.isFinite(x + y + z)) return best;
  const candidate = new Float64Array(4);
  const take = (t: number): void => {
    const a = 3 * triangles[3 * t];
    const b = 3 * triangles[3 * t + 1];
    const c = 3 * triangles[3 * t + 2];
    closestPointToOrigin(
      positions[a] - x,
      positions[a + 1] - y,
      positions[a + 2] - z,
      positions[b] - x,
      positions[b + 1] - y,
      positions[b + 2] - z,
      positions[c] - x,
      positions[c + 1] - y,
      positions[c + 2] - z,
      candidate,
    );
    const d = candidate[3];
    if (d < bestDistance || (d === bestDistance && (best < 0 || t < best))) {
      best = t;
      bestDistance = d;
      out.set(candidate);
    }
  };
  const visit = (node: number, left: number, right: number): void => {
    if (node >= tree.firstLeaf) {
      for (let i = left; i < right; i++) take(tree.order[i]);
      return;
    }
    const middle = (left + right) >> 1;
    const near = boxDistance(tree.boxes, 6 * (2 * node + 1), x, y, z);
    const far = boxDistance(tree.boxes, 6 * (2 * node + 2), x, y, z);
    const leftFirst = near <= far;
    if (Math.min(near, far) > bestDistance * SLACK) return;
    if (leftFirst) visit(2 * node + 1, left, middle);
    else visit(2 * node + 2, middle, right);
    if (Math.max(near, far) > bestDistance * SLACK) return;
    if (leftFirst) visit(2 * node + 2, middle, right);
    else visit(2 * node + 1, left, middle);
  };
  if (tree.order.length > 0) visit(0, 0, tree.order.length);
  return best;
}

function boxDistance(boxes: Float32Array, at: number, x: number, y: number, z: number): number {
  const dx = Math.max(boxes[at] - x, x - boxes[at + 3], 0);
  const dy = Math.max(boxes[at + 1] - y, y - boxes[at + 4], 0);
  const dz = Math.max(boxes[at + 2] - z, z - boxes[at + 5], 0);
  return dx * dx + dy * dy + dz * dz;
}

function firstHit(
  positions: Float32Array,
  triangles: Uint32Array,
  tree: TriangleTree,
  origins: Float32Array,
  directions: Float32Array,
  at: number,
  limit: number,
  out: Float64Array,
): number {
  const x = origins[at];
  const y = origins[at + 1];
  const z = origins[at + 2];
  const dx = directions[at];
  const dy = directions[at + 1];
  const dz = directions[at + 2];
  let best = -1;
  let bestDistance = limit;
  if (!Number.isFinite(x + y + z + dx + dy + dz) || (dx === 0 && dy === 0 && dz === 0)) return best;
  const visit = (node: number, left: number, right: number): void => {
    if (!(boxEntry(tree.boxes, 6 * node, origins, directions, at) <= bestDistance)) return;
    if (node < tree.firstLeaf) {
      const middle = (left + right) >> 1;
      visit(2 * node + 1, left, middle);
      visit(2 * node + 2, middle, right);
      return;
    }
    for (let i = left; i < right; i++) {
      const t = tree.order[i];
      const a = 3 * triangles[3 * t];
      const b = 3 * triangles[3 * t + 1];
      const c = 3 * triangles[3 * t + 2];
      const d = rayDistance(
        positions[a] - x,
        positions[a + 1] - y,
        positions[a + 2] - z,
        positions[b] - x,
        positions[b + 1] - y,
        positions[b + 2] - z,
        positions[c] - x,
        positions[c + 1] - y,
        positions[c + 2] - z,
        dx,
        dy,
        dz,
      );
      if (d < bestDistance || (d === bestDistance && d < Infinity && (best < 0 || t < best))) {
        best = t;
        bestDistance = d;
        out[0] = d;
      }
    }
  };
  if (tree.order.length > 0) visit(0, 0, tree.order.length);
  return best;
}

/** Where a ray enters a box that is widened by more than rounding can hide; Infinity where it misses. */
function boxEntry(
  boxes: Float32Array,
  at: number,
  origins: Float32Array,
  directions: Float32Array,
  ray: number,
): number {
  let enter = 0;
  let leave = Infinity;
  let widen = 0;
  for (let axis = 0; axis < 3; axis++) {
    const origin = origins[ray + axis];
    widen = Math.max(widen, Math.abs(boxes[at + axis] - origin), Math.abs(boxes[at + 3 + axis] - origin));
  }
  widen *= SLACK - 1;
  for (let axis = 0; axis < 3; axis++) {
    const low = boxes[at + axis] - origins[ray + axis] - widen;
    const high = boxes[at + 3 + axis] - origins[ray + axis] + widen;
    const direction = directions[ray + axis];
    if (direction === 0) {
      if (low > 0 || high < 0) return Infinity;
      continue;
    }
    const t0 = (direction > 0 ? low : high) / direction;
    const t1 = (direction > 0 ? high : low) / direction;
    if (t0 > enter) enter = t0;
    if (t1 < leave) leave = t1;
  }
  return enter <= leave ? enter / SLACK : Infinity;
}
