import { chiSquareQuantile, chiSquareTail } from './chi-square.ts';
import { noncentralChiSquareTail } from './noncentral-chi-square.ts';
import { searchFalling } from './quantile-search.ts';

/**
 * Noncentrality lambda0 that a chi-square test of the given level finds with the given probability (power).
 *
 * Its square root is delta0: an error of delta0 standard deviations of a test value is found with that power. The smallest
 * detectable error of an observation is sigma delta0 / sqrt(redundancy number).
 *
 * Method   exact root over both tails [Baarda68].
 *
 * @param level probability of a false alarm, for example 0.001
 * @param power probability that the error is found, for example 0.8; larger than the level
 */
export function detectableNoncentrality(level: number, power: number, degreesOfFreedom = 1): number {
  if (!(level > 0 && level < 1 && power > level && power < 1)) {
    throw new RangeError('Level and power lie between 0 and 1, and the power above the level.');
  }
  const limit = chiSquareQuantile(level, degreesOfFreedom);
  const missed = (noncentrality: number): number => 1 - noncentralChiSquareTail(limit, degreesOfFreedom, noncentrality);
  return searchFalling(missed, 1 - power, 0, 16);
}

/**
 * Level of a test of several degrees of freedom that finds the same noncentrality with the same power as the test of a single
 * observation does: an error is then judged alike whichever test looks at it (B-method [Baarda68]).
 */
export function consistentTestLevel(noncentrality: number, power: number, degreesOfFreedom: number): number {
  const found = (limit: number): number => noncentralChiSquareTail(limit, degreesOfFreedom, noncentrality);
  return chiSquareTail(searchFalling(found, power, 0, noncentrality + degreesOfFreedom), degreesOfFreedom);
}
