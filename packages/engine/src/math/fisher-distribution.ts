import { incompleteBeta } from './beta-function.ts';
import { searchFalling } from './quantile-search.ts';

/** Probability that the ratio of two independent variance estimates exceeds f (Fisher's F distribution). */
export function fisherTail(f: number, numeratorDegrees: number, denominatorDegrees: number): number {
  if (!(numeratorDegrees > 0 && denominatorDegrees > 0)) {
    throw new RangeError('A ratio of variances has at least some degrees of freedom on both sides.');
  }
  if (!(f > 0)) return 1;
  const [above, below] = [numeratorDegrees * f, denominatorDegrees];
  return incompleteBeta(below / (above + below), above / (above + below), denominatorDegrees / 2, numeratorDegrees / 2);
}

/**
 * Value that an F variable exceeds with the given probability.
 *
 * @param tail probability above, between 0 and 1
 */
export function fisherQuantile(tail: number, numeratorDegrees: number, denominatorDegrees: number): number {
  if (!(tail > 0 && tail < 1)) throw new RangeError('A probability lies between 0 and 1.');
  return searchFalling((f) => fisherTail(f, numeratorDegrees, denominatorDegrees), tail, 1e-300, 8);
}
