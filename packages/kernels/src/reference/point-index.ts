import { requireDistance, requireLength, requireNeighbourCount, tripleCount } from '../check-buffers.ts';
import type { PointIndex } from '../point-index.ts';
import { selectOrder } from './select-order.ts';

const LEAF_SIZE = 8;
const fround = Math.fround;
/** Squared distances beyond the largest float32 count as none. */
const LARGEST = fround(3.4028234663852886e38);

interface Tree {
  readonly xyz: readonly [Float32Array, Float32Array, Float32Array];
  readonly order: Int32Array;
  readonly splits: Float32Array;
  readonly axes: Uint8Array;
  readonly depth: number;
}

/**
 * Builds a k-d tree in plain TypeScript: the reference that the compiled kernel is compared with, and its fallback.
 *
 * Method   median splits along the widest side of the points' box; the tree is implicit (children 2 i + 1, 2 i + 2,
 *          ranges halved), as in Friedman, Bentley & Finkel 1977.
 * @throws RangeError when the buffer holds no xyz triples
 */
export function buildPointIndex(positions: Float32Array): PointIndex {
  const pointCount = tripleCount(positions, 'positions');
  const tree = buildTree(positions, pointCount);
  const search = makeSearch(tree);
  return {
    pointCount,
    nearest(queries, maxDistance, outIndex, outDistanceSquared) {
      const count = tripleCount(queries, 'queries');
      requireDistance(maxDistance, 'maxDistance');
      requireLength(outIndex, count, 'outIndex');
      requireLength(outDistanceSquared, count, 'outDistanceSquared');
      search.nearest(queries, 1, limitOf(maxDistance), outIndex, outDistanceSquared);
    },
    kNearest(queries, k, outIndex, outDistanceSquared) {
      const count = tripleCount(queries, 'queries');
      requireNeighbourCount(k);
      requireLength(outIndex, count * k, 'outIndex');
      requireLength(outDistanceSquared, count * k, 'outDistanceSquared');
      search.nearest(queries, k, LARGEST, outIndex, outDistanceSquared);
    },
    withinRadius(queries, radius) {
      tripleCount(queries, 'queries');
      requireDistance(radius, 'radius');
      return search.withinRadius(queries, limitOf(radius));
    },
    dispose() {},
  };
}

function buildTree(positions: Float32Array, pointCount: number): Tree {
  const xyz = [0, 1, 2].map((axis) => Float32Array.from({ length: pointCount }, (_, i) => positions[3 * i + axis]));
  const finite: number[] = [];
  for (let i = 0; i < pointCount; i++) {
    if (Number.isFinite(positions[3 * i] + positions[3 * i + 1] + positions[3 * i + 2])) finite.push(i);
  }
  const order = Int32Array.from(finite);
  let depth = 0;
  while (order.length > LEAF_SIZE * 2 ** depth) depth++;
  const splits = new Float32Array(2 ** depth - 1);
  const axes = new Uint8Array(2 ** depth - 1);
  const split = (node: number, left: number, right: number): void => {
    if (node >= splits.length) return;
    const axis = widestAxis(xyz, order, left, right);
    const middle = (left + right) >> 1;
    selectOrder(order, xyz[axis], left, right - 1, middle);
    axes[node] = axis;
    splits[node] = xyz[axis][order[middle]];
    split(2 * node + 1, left, middle);
    split(2 * node + 2, middle, right);
  };
  split(0, 0, order.length);
  return { xyz: xyz as unknown as Tree['xyz'], order, splits, axes, depth };
}

function widestAxis(xyz: readonly Float32Array[], order: Int32Array, left: number, right: number): number {
  let best = 0;
  let bestExtent = -1;
  for (let axis = 0; axis < 3; axis++) {
    const values = xyz[axis];
    let low = Infinity;
    let high = -Infinity;
    for (let i = left; i < right; i++) {
      const value = values[order[i]];
      if (value < low) low = value;
      if (value > high) high = value;
    }
    if (high - low > bestExtent) {
      bestExtent = high - low;
      best = axis;
    }
  }
  return best;
}

function makeSearch(tree: Tree) {
  const { order, splits, axes } = tree;
  const [x, y, z] = tree.xyz;
  const query = new Float32Array(3);
  const gaps = new Float32Array(3);

  // Float32 rounding is monotone, so the distance to a cell computed like that to a point is never larger than it.
  function visit(node: number, left: number, right: number, limit: () => number, take: (point: number) => void): void {
    if (node >= splits.length) {
      for (let i = left; i < right; i++) take(order[i]);
      return;
    }
    const axis = axes[node];
    const gap = fround(query[axis] - splits[node]);
    const middle = (left + right) >> 1;
    if (gap < 0) visit(2 * node + 1, left, middle, limit, take);
    else visit(2 * node + 2, middle, right, limit, take);
    const before = gaps[axis];
    gaps[axis] = gap;
    if (squared(gaps[0], gaps[1], gaps[2]) <= limit()) {
      if (gap < 0) visit(2 * node + 2, middle, right, limit, take);
      else visit(2 * node + 1, left, middle, limit, take);
    }
    gaps[axis] = before;
  }

  function start(queries: Float32Array, i: number): boolean {
    query.set(queries.subarray(3 * i, 3 * i + 3));
    gaps.fill(0);
    return Number.isFinite(query[0] + query[1] + query[2]);
  }

  function distanceTo(point: number): number {
    return squared(fround(query[0] - x[point]), fround(query[1] - y[point]), fround(query[2] - z[point]));
  }

  return {
    nearest(queries: Float32Array, k: number, limit: number, outIndex: Int32Array, outDistance: Float32Array): void {
      const count = queries.length / 3;
      outIndex.fill(-1, 0, count * k);
      outDistance.fill(Infinity, 0, count * k);
      for (let i = 0; i < count; i++) {
        if (!start(queries, i)) continue;
        const first = i * k;
        const last = first + k - 1;
        visit(
          0,
          0,
          order.length,
          () => Math.min(limit, outDistance[last]),
          (point) => {
            const distance = distanceTo(point);
            if (!(distance <= limit)) return;
            let at = last + 1;
            while (at > first && precedes(distance, point, outDistance[at - 1], outIndex[at - 1])) at--;
            if (at > last) return;
            outIndex.copyWithin(at + 1, at, last);
            outDistance.copyWithin(at + 1, at, last);
            outIndex[at] = point;
            outDistance[at] = distance;
          },
        );
      }
    },
    withinRadius(queries: Float32Array, limit: number): { offsets: Uint32Array; indices: Int32Array } {
      const count = queries.length / 3;
      const offsets = new Uint32Array(count + 1);
      const indices: number[] = [];
      for (let i = 0; i < count; i++) {
        const found: number[] = [];
        if (start(queries, i)) {
          visit(
            0,
            0,
            order.length,
            () => limit,
            (point) => {
              if (distanceTo(point) <= limit) found.push(point);
            },
          );
        }
        found.sort((a, b) => a - b);
        for (const point of found) indices.push(point);
        offsets[i + 1] = indices.length;
      }
      return { offsets, indices: Int32Array.from(indices) };
    },
  };
}

function limitOf(distance: number): number {
  return Math.min(fround(distance * distance), LARGEST);
}

function squared(dx: number, dy: number, dz: number): number {
  return fround(fround(fround(dx * dx) + fround(dy * dy)) + fround(dz * dz));
}

function precedes(distance: number, point: number, otherDistance: number, other: number): boolean {
  return distance < otherDistance || (distance === otherDistance && (other < 0 || point < other));
}
