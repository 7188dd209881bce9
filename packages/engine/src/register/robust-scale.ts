/** Factor from the median absolute deviation to the standard deviation of a normal distribution. */
export const MAD_FACTOR = 1.482602219;

/** Constant of Tukey's weight for 95 % efficiency under normal noise. */
export const TUKEY_CONSTANT = 4.685065;

/** Median of the first `count` values, which are reordered; 0 for none. */
export function medianInPlace(values: Float64Array, count: number): number {
  if (count === 0) return 0;
  const part = values.subarray(0, count).sort();
  return (part[(count - 1) >> 1] + part[count >> 1]) / 2;
}

/** Tukey's biweight: 1 at 0, 0 from `reach` on. */
export function tukeyWeight(residual: number, reach: number): number {
  const q = residual / reach;
  const s = 1 - q * q;
  return s > 0 ? s * s : 0;
}
