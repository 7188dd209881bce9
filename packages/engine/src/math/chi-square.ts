/** Natural logarithm of the gamma function for positive arguments (Lanczos 1964, g = 7, nine terms; 1e-15 relative). */
function logGamma(x: number): number {
  const coefficients = [
    0.99999999999980993, 676.5203681218851, -1259.1392167224028, 771.32342877765313, -176.61502916214059,
    12.507343278686905, -0.13857109526572012, 9.9843695780195716e-6, 1.5056327351493116e-7,
  ];
  if (x < 0.5) return Math.log(Math.PI / Math.sin(Math.PI * x)) - logGamma(1 - x);
  let sum = coefficients[0] as number;
  for (let i = 1; i < 9; i++) sum += (coefficients[i] as number) / (x - 1 + i);
  const t = x + 6.5;
  return 0.5 * Math.log(2 * Math.PI) + (x - 0.5) * Math.log(t) - t + Math.log(sum);
}

/** Probability that a chi-square variable exceeds x: the upper tail, with its own relative digits. */
export function chiSquareTail(x: number, degreesOfFreedom: number): number {
  if (!(degreesOfFreedom > 0)) throw new RangeError('A chi-square variable has at least some degrees of freedom.');
  if (!(x > 0)) return 1;
  if (x === Number.POSITIVE_INFINITY) return 0;
  const a = degreesOfFreedom / 2;
  const h = x / 2;
  const factor = Math.exp(a * Math.log(h) - h - logGamma(a));
  if (h < a + 1) {
    // Series of the lower incomplete gamma function (DLMF 8.7.1).
    let term = 1 / a;
    let sum = term;
    for (let n = 1; n < 100_000 && term > sum * 1e-17; n++) {
      term *= h / (a + n);
      sum += term;
    }
    return 1 - factor * sum;
  }
  // Continued fraction of the upper one (DLMF 8.9.2), evaluated by the modified Lentz method.
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
  return factor * fraction;
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
  let low = 1e-300;
  let high = degreesOfFreedom + 10;
  while (chiSquareTail(high, degreesOfFreedom) > tail) high *= 2;
  for (let i = 0; i < 400; i++) {
    const middle = low * high < 1e-280 || high / low > 4 ? Math.sqrt(low) * Math.sqrt(high) : (low + high) / 2;
    if (middle <= low || middle >= high) break;
    if (chiSquareTail(middle, degreesOfFreedom) > tail) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}
