/** Factor from the median absolute deviation to the standard deviation of a normal distribution. */
export const MAD_FACTOR = 1.482602219;

/** Constant of Tukey's weight for 95 % efficiency under normal noise. */
export const TUKEY_CONSTANT = 4.685065;

/** Median of the first `count` values, which are reordered; 0 for none. */
export function medianInPlace(values: Float64Array | Float32Array, count: number): number {
  if (count === 0) return 0;
  const upper = selectInPlace(values, count, count >> 1);
  if (count % 2 === 1) return upper;
  let lower = values[0];
  for (let i = 1; i < count >> 1; i++) if (values[i] > lower) lower = values[i];
  return (lower + upper) / 2;
}

/** The k-th smallest of the first `count` values (from 0); smaller ones end before it, larger ones after it (Hoare 1961). */
export function selectInPlace(values: Float64Array | Float32Array, count: number, k: number): number {
  let low = 0;
  let high = count - 1;
  while (low < high) {
    // Middle of three as pivot: sorted input is common here.
    const middle = (low + high) >> 1;
    const x = values[low];
    const y = values[middle];
    const z = values[high];
    const pivot = Math.max(Math.min(x, y), Math.min(Math.max(x, y), z));
    let i = low;
    let j = high;
    while (i <= j) {
      while (values[i] < pivot) i++;
      while (values[j] > pivot) j--;
      if (i <= j) {
        const swap = values[i];
        values[i] = values[j];
        values[j] = swap;
        i++;
        j--;
      }
    }
    if (k <= j) high = j;
    else if (k >= i) low = i;
    else break;
  }
  return values[k];
}

/** Tukey's biweight: 1 at 0, 0 from `reach` on. */
export function tukeyWeight(residual: number, reach: number): number {
  const q = residual / reach;
  const s = 1 - q * q;
  return s > 0 ? s * s : 0;
}
