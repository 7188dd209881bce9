import { chiSquareTail } from './chi-square.ts';
import { logGamma } from './gamma-function.ts';

/**
 * Probability that a noncentral chi-square variable exceeds x.
 *
 * Method   Poisson mixture of central tails, summed both ways from its largest weight until nothing is added.
 *
 * @param noncentrality sum of the squared means, not negative
 */
export function noncentralChiSquareTail(x: number, degreesOfFreedom: number, noncentrality: number): number {
  if (!(noncentrality >= 0)) throw new RangeError('A noncentrality is not negative.');
  if (noncentrality === 0) return chiSquareTail(x, degreesOfFreedom);
  const half = noncentrality / 2;
  const middle = Math.floor(half);
  const start = Math.exp(middle * Math.log(half) - half - logGamma(middle + 1));
  let sum = 0;
  let weight = start;
  for (let j = middle; weight > 1e-18; j++) {
    sum += weight * chiSquareTail(x, degreesOfFreedom + 2 * j);
    weight *= half / (j + 1);
  }
  weight = start;
  for (let j = middle; j > 0; j--) {
    weight *= j / half;
    if (!(weight > 1e-18)) break;
    sum += weight * chiSquareTail(x, degreesOfFreedom + 2 * (j - 1));
  }
  return Math.min(1, sum);
}
