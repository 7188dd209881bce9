/**
 * Brings colour values of a file to 8 bit.
 *
 * `fraction`: 0 to 1. `byte`: 0 to 255. `word`: 0 to 65535. `guess`: fractions when no value exceeds 1, else bytes,
 * else words, because files with floating-point colours do not say. Values that are no numbers become 0.
 */
export function scaleColors(values: Float32Array, scale: 'fraction' | 'byte' | 'word' | 'guess'): Uint8Array {
  let factor = scale === 'fraction' ? 255 : scale === 'word' ? 255 / 65535 : 1;
  if (scale === 'guess') {
    let largest = 0;
    for (let i = 0; i < values.length; i++) if (values[i] > largest) largest = values[i];
    factor = largest <= 1 ? 255 : largest <= 255 ? 1 : 255 / 65535;
  }
  const colors = new Uint8Array(values.length);
  for (let i = 0; i < values.length; i++) {
    const value = values[i] * factor;
    colors[i] = value >= 255 ? 255 : value > 0 ? Math.round(value) : 0;
  }
  return colors;
}
