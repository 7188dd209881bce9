import { chiSquareTail } from './chi-square.ts';
import { searchFalling } from './quantile-search.ts';

/** Probability that a standard normal variable exceeds x, with its own relative digits where x is positive. */
export function normalTail(x: number): number {
  if (Number.isNaN(x)) throw new RangeError('A value that is no number has no probability.');
  const half = chiSquareTail(x * x, 1) / 2;
  return x >= 0 ? half : 1 - half;
}

/**
 * Value that a standard normal variable exceeds with the given probability.
 *
 * @param tail probability above, between 0 and 1
 */
export function normalQuantile(tail: number): number {
  if (!(tail > 0 && tail < 1)) throw new RangeError('A probability lies between 0 and 1.');
  if (tail === 0.5) return 0;
  if (tail > 0.5) return -normalQuantile(1 - tail);
  return searchFalling(normalTail, tail, 0, 8);
}
