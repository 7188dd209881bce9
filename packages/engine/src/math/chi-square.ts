import { logGamma } from './gamma-function.ts';
import { searchFalling } from './quantile-search.ts';

/** Probability that a chi-square variable exceeds x: the upper tail, with its own relative digits. */
export function chiSquareTail(x: number, degreesOfFreedom: number): number {
  if (!(degreesOfFreedom > 0)) throw new RangeError('A chi-square variable has at least some degrees of freedom.');
  if (!(x > 0)) return 1;
  if (x === Number.POSITIVE_INFINITY) return 0;
  const a = degreesOfFreedom / 2;
  const h = x / 2;
  const factor = Math.exp(logFactor(a, h));
  return h < a + 1 ? 1 - factor * lowerSeries(a, h) : factor * upperFraction(a, h);
}

/** Natural logarithm of `chiSquareTail`, which still tells two values apart whose tails are zero in floating point. */
export function logChiSquareTail(x: number, degreesOfFreedom: number): number {
  const a = degreesOfFreedom / 2;
  const h = x / 2;
  if (!(h >= a + 1) || h === Number.POSITIVE_INFINITY) return Math.log(chiSquareTail(x, degreesOfFreedom));
  return logFactor(a, h) + Math.log(upperFraction(a, h));
}

/** log of h^a e^-h / gamma(a). */
function logFactor(a: number, h: number): number {
  return a * Math.log(h) - h - logGamma(a);
}

/** Series of the lower incomplete gamma function (DLMF 8.7.1). */
function lowerSeries(a: number, h: number): number {
  let term = 1 / a;
  let sum = term;
  for (let n = 1; n < 100_000 && term > sum * 1e-17; n++) {
    term *= h / (a + n);
    sum += term;
  }
  return sum;
}

/** Continued fraction of the upper one (DLMF 8.9.2), evaluated by the modified Lentz method. */
function upperFraction(a: number, h: number): number {
  let b = h + 1 - a;
  let c = 1e300;
  let d = 1 / b;
  let fraction = d;
  for (let n = 1; n < 100_000; n++) {
    const an = -n * (n - a);
    b += 2;
    d = 1 / (an * d + b);
    c = b + an / c;
    const change = c * d;
    fraction *= change;
    if (Math.abs(change - 1) < 1e-16) break;
  }
  return fraction;
}

/**
 * Value that a chi-square variable exceeds with the given probability.
 *
 * Method   bisection of `chiSquareTail` in the logarithm, to the last digits.
 *
 * @param tail probability above, between 0 and 1
 */
export function chiSquareQuantile(tail: number, degreesOfFreedom: number): number {
  if (!(tail > 0 && tail < 1)) throw new RangeError('A probability lies between 0 and 1.');
  return searchFalling((x) => chiSquareTail(x, degreesOfFreedom), tail, 1e-300, degreesOfFreedom + 10);
}
