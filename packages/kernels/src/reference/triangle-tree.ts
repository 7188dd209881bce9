import { selectOrder } from './select-order.ts';

const LEAF_SIZE = 4;

/** A binary tree of boxes over triangles: node i has the children 2 i + 1 and 2 i + 2, ranges are halved. */
export interface TriangleTree {
  readonly order: Int32Array;
  /** Six numbers a node: the low corner, then the high corner. */
  readonly boxes: Float32Array;
  readonly nodeCount: number;
  readonly firstLeaf: number;
}

/** Builds the tree by median splits of the triangles' centres along their widest side. */
export function buildTriangleTree(positions: Float32Array, triangles: Uint32Array): TriangleTree {
  const count = triangles.length / 3;
  const centres = [new Float32Array(count), new Float32Array(count), new Float32Array(count)];
  const kept: number[] = [];
  for (let t = 0; t < count; t++) {
    let sum = 0;
    for (let axis = 0; axis < 3; axis++) {
      const a = positions[3 * triangles[3 * t] + axis];
      const b = positions[3 * triangles[3 * t + 1] + axis];
      const c = positions[3 * triangles[3 * t + 2] + axis];
      centres[axis][t] = (Math.min(a, b, c) + Math.max(a, b, c)) / 2;
      sum += a + b + c;
    }
    if (Number.isFinite(sum)) kept.push(t);
  }
  const order = Int32Array.from(kept);
  let depth = 0;
  while (order.length > LEAF_SIZE * 2 ** depth) depth++;
  const nodeCount = 2 ** (depth + 1) - 1;
  const firstLeaf = 2 ** depth - 1;
  const boxes = new Float32Array(6 * nodeCount);
  const build = (node: number, left: number, right: number): void => {
    if (node >= firstLeaf) {
      leafBox(positions, triangles, order, left, right, boxes, 6 * node);
      return;
    }
    const middle = (left + right) >> 1;
    selectOrder(order, centres[widest(centres, order, left, right)], left, right - 1, middle);
    build(2 * node + 1, left, middle);
    build(2 * node + 2, middle, right);
    const a = 6 * (2 * node + 1);
    const b = a + 6;
    for (let i = 0; i < 3; i++) {
      boxes[6 * node + i] = Math.min(boxes[a + i], boxes[b + i]);
      boxes[6 * node + 3 + i] = Math.max(boxes[a + 3 + i], boxes[b + 3 + i]);
    }
  };
  build(0, 0, order.length);
  return { order, boxes, nodeCount, firstLeaf };
}

function leafBox(
  positions: Float32Array,
  triangles: Uint32Array,
  order: Int32Array,
  left: number,
  right: number,
  boxes: Float32Array,
  at: number,
): void {
  for (let axis = 0; axis < 3; axis++) {
    let low = Infinity;
    let high = -Infinity;
    for (let i = left; i < right; i++) {
      for (let corner = 0; corner < 3; corner++) {
        const value = positions[3 * triangles[3 * order[i] + corner] + axis];
        if (value < low) low = value;
        if (value > high) high = value;
      }
    }
    boxes[at + axis] = low;
    boxes[at + 3 + axis] = high;
  }
}

function widest(centres: readonly Float32Array[], order: Int32Array, left: number, right: number): number {
  let best = 0;
  let bestExtent = -1;
  for (let axis = 0; axis < 3; axis++) {
    let low = Infinity;
    let high = -Infinity;
    for (let i = left; i < right; i++) {
      const value = centres[axis][order[i]];
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
