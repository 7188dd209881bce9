/**
 * Where a falling function takes a value, to the last digit.
 *
 * Method   bisection, in the logarithm while the ends differ by more than a factor of four.
 *
 * @param falling falls from `low` to `high`
 * @param low not negative
 * @param high doubled until the function is at or below the value
 */
export function searchFalling(falling: (x: number) => number, value: number, low: number, high: number): number {
  let [left, right] = [low, high];
  for (let i = 0; i < 1100 && falling(right) > value; i++) {
    left = right;
    right *= 2;
  }
  for (let i = 0; i < 1200; i++) {
    const isWide = left > 0 && right / left > 4;
    const middle = isWide ? Math.sqrt(left) * Math.sqrt(right) : (left + right) / 2;
    if (middle <= left || middle >= right) break;
    if (falling(middle) > value) left = middle;
    else right = middle;
  }
  return (left + right) / 2;
}
