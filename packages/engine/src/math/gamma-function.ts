const LANCZOS = [
  0.99999999999980993, 676.5203681218851, -1259.1392167224028, 771.32342877765313, -176.61502916214059,
  12.507343278686905, -0.13857109526572012, 9.9843695780195716e-6, 1.5056327351493116e-7,
];

/** Natural logarithm of the gamma function for positive arguments (Lanczos 1964, g = 7, nine terms; 1e-15 relative). */
export function logGamma(x: number): number {
  if (x < 0.5) return Math.log(Math.PI / Math.sin(Math.PI * x)) - logGamma(1 - x);
  let sum = LANCZOS[0] as number;
  for (let i = 1; i < 9; i++) sum += (LANCZOS[i] as number) / (x - 1 + i);
  const t = x + 6.5;
  return 0.5 * Math.log(2 * Math.PI) + (x - 0.5) * Math.log(t) - t + Math.log(sum);
}

/** log of gamma(x + step) / gamma(x), without the digits that two large logarithms would take from each other. */
export function logGammaRatio(x: number, step: number): number {
  if (x < 30) return logGamma(x + step) - logGamma(x);
  // Stirling's series; what is left out is below 1e-13 from 30 on.
  const rest = (y: number): number => (1 / 12 - (1 / 360 - 1 / (1260 * y * y)) / (y * y)) / y;
  return (x - 0.5) * Math.log1p(step / x) + step * Math.log(x + step) - step + rest(x + step) - rest(x);
}
