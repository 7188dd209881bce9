import { incompleteBeta } from './beta-function.ts';
import { normalQuantile, normalTail } from './normal-distribution.ts';
import { searchFalling } from './quantile-search.ts';

/** Probability that a Student variable exceeds t. Infinite degrees of freedom: the normal distribution. */
export function studentTail(t: number, degreesOfFreedom: number): number {
  if (!(degreesOfFreedom > 0)) throw new RangeError('A Student variable has at least some degrees of freedom.');
  if (degreesOfFreedom === Number.POSITIVE_INFINITY) return normalTail(t);
  const sum = degreesOfFreedom + t * t;
  const half = incompleteBeta(degreesOfFreedom / sum, (t * t) / sum, degreesOfFreedom / 2, 0.5) / 2;
  return t >= 0 ? half : 1 - half;
}

/**
 * Value that a Student variable exceeds with the given probability.
 *
 * @param tail probability above, between 0 and 1
 */
export function studentQuantile(tail: number, degreesOfFreedom: number): number {
  if (!(tail > 0 && tail < 1)) throw new RangeError('A probability lies between 0 and 1.');
  if (degreesOfFreedom === Number.POSITIVE_INFINITY) return normalQuantile(tail);
  if (tail === 0.5) return 0;
  if (tail > 0.5) return -studentQuantile(1 - tail, degreesOfFreedom);
  return searchFalling((t) => studentTail(t, degreesOfFreedom), tail, 0, 8);
}
