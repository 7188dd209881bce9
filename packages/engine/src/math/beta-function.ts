import { logGamma, logGammaRatio } from './gamma-function.ts';

/**
 * Regularised incomplete beta function I_x(a, b): probability that a beta variable is at most x.
 *
 * Method   continued fraction (DLMF 8.17.22) by the modified Lentz method, on the side where it converges fast.
 * Cost     about sqrt(max(a, b)) terms.
 *
 * @param complement 1 - x, stated by the caller so that neither end loses its digits
 */
export function incompleteBeta(x: number, complement: number, a: number, b: number): number {
  if (!(a > 0 && b > 0)) throw new RangeError('A beta function needs parameters larger than zero.');
  if (!(x > 0)) return 0;
  if (!(complement > 0)) return 1;
  const [small, large] = a < b ? [a, b] : [b, a];
  const logOf = (value: number, rest: number): number => (rest < 0.5 ? Math.log1p(-rest) : Math.log(value));
  const front = Math.exp(
    logGammaRatio(large, small) - logGamma(small) + a * logOf(x, complement) + b * logOf(complement, x),
  );
  return x < (a + 1) / (a + b + 2)
    ? (front * betaFraction(x, a, b)) / a
    : 1 - (front * betaFraction(complement, b, a)) / b;
}

function betaFraction(x: number, a: number, b: number): number {
  const floor = 1e-300;
  const away = (value: number): number => (Math.abs(value) < floor ? floor : value);
  let c = 1;
  let d = 1 / away(1 - ((a + b) * x) / (a + 1));
  let fraction = d;
  for (let m = 1; m < 100_000; m++) {
    const even = (m * (b - m) * x) / ((a + 2 * m - 1) * (a + 2 * m));
    d = 1 / away(1 + even * d);
    c = away(1 + even / c);
    fraction *= d * c;
    const odd = (-(a + m) * (a + b + m) * x) / ((a + 2 * m) * (a + 2 * m + 1));
    d = 1 / away(1 + odd * d);
    c = away(1 + odd / c);
    const change = d * c;
    fraction *= change;
    if (Math.abs(change - 1) < 1e-16) break;
  }
  return fraction;
}
