/**
 * Text of a length in mm: six decimals (a nanometre), without zeros at the end. The same on every machine.
 */
export function lengthText(value: number): string {
  return trimZeros(value.toFixed(6));
}

/** Text of a number with so many significant digits, without exponent where that is short, without zeros at the end. */
export function numberText(value: number, digits: number): string {
  return String(Number(value.toPrecision(digits)));
}

function trimZeros(text: string): string {
  let end = text.length;
  while (text.charCodeAt(end - 1) === 48) end--;
  if (text.charCodeAt(end - 1) === 46) end--;
  const short = text.slice(0, end);
  return short === '-0' ? '0' : short;
}
