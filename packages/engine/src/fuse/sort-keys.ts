/**
 * The order that sorts whole numbers from 0 to 2^53, stable.
 *
 * Method   least significant digit radix sort, 11 bits a pass, passes over digits that are all equal left out.
 */
export function orderOfKeys(keys: Float64Array): Uint32Array {
  const count = keys.length;
  let order = new Uint32Array(count);
  for (let i = 0; i < count; i++) order[i] = i;
  let spare = new Uint32Array(count);
  const digits = 2048;
  const totals = new Uint32Array(digits + 1);
  let divisor = 1;
  for (let pass = 0; pass < 5; pass++, divisor *= digits) {
    totals.fill(0);
    const digitOf = (i: number): number => Math.floor(keys[i] / divisor) % digits;
    for (let n = 0; n < count; n++) totals[digitOf(n) + 1]++;
    if (totals.includes(count, 1)) continue;
    for (let d = 0; d < digits; d++) totals[d + 1] += totals[d];
    for (let n = 0; n < count; n++) {
      const i = order[n];
      spare[totals[digitOf(i)]++] = i;
    }
    [order, spare] = [spare, order];
  }
  return order;
}
