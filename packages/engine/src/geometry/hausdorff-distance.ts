import { buildPointIndex } from '@lapjoint/kernels';

/** Distances between two point sets, in their units. One-way distances differ; say which one is meant. */
export interface HausdorffDistance {
  /** Largest distance of a point of A to B. */
  readonly fromAToB: number;
  /** Largest distance of a point of B to A. */
  readonly fromBToA: number;
  /** The larger of the two. */
  readonly symmetric: number;
}

/**
 * Hausdorff distance of two point sets (Hausdorff 1914): h(A, B) = max over A of the distance to the nearest of B.
 *
 * Limits   distances are float32, as the neighbour search gives them; Infinity when the other set is empty.
 *
 * @param a xyz, at least one point
 * @param b xyz, at least one point
 */
export function hausdorffDistance(a: Float32Array, b: Float32Array): HausdorffDistance {
  const fromAToB = largestDistance(a, b);
  const fromBToA = largestDistance(b, a);
  return { fromAToB, fromBToA, symmetric: Math.max(fromAToB, fromBToA) };
}

function largestDistance(from: Float32Array, to: Float32Array): number {
  const count = Math.floor(from.length / 3);
  const nearest = new Int32Array(count);
  const squares = new Float32Array(count);
  const index = buildPointIndex(to);
  index.nearest(from, Infinity, nearest, squares);
  index.dispose();
  return Math.sqrt(squares.reduce((largest, square) => Math.max(largest, square), 0));
}
