import { chiSquareQuantile, chiSquareTail } from './chi-square.ts';
import { studentQuantile } from './student-distribution.ts';

/**
 * Factor by which the standard ellipse or ellipsoid (or the standard deviation) is enlarged to hold the truth with the given
 * probability when errors are normal.
 *
 * @param dimension 1 interval, 2 ellipse, 3 ellipsoid
 */
export function regionCoverageFactor(probability: number, dimension: number): number {
  return Math.sqrt(chiSquareQuantile(1 - probability, dimension));
}

/** Probability that a region enlarged by k holds the truth. */
export function regionCoverageProbability(k: number, dimension: number): number {
  return 1 - chiSquareTail(k * k, dimension);
}

/** Coverage factor t_p of an interval from its effective degrees of freedom (JCGM 100, table G.2); whole numbers are not asked for. */
export function studentCoverageFactor(probability: number, degreesOfFreedom: number): number {
  return studentQuantile((1 - probability) / 2, degreesOfFreedom);
}
