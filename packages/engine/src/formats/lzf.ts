/**
 * Unpacks LZF, the compression of PCD files [liblzf]: runs of literals and references of up to 264 bytes back into
 * the last 8 kB.
 *
 * @param size bytes of the result, known beforehand
 * @returns null when the packed bytes are damaged
 */
export function unpackLzf(packed: Uint8Array, size: number): Uint8Array | null {
  const out = new Uint8Array(size);
  let from = 0;
  let to = 0;
  while (from < packed.length) {
    const control = packed[from++];
    if (control < 32) {
      const length = control + 1;
      if (to + length > size || from + length > packed.length) return null;
      for (let i = 0; i < length; i++) out[to++] = packed[from++];
      continue;
    }
    let length = control >> 5;
    if (length === 7) length += packed[from++];
    let back = to - ((control & 31) << 8) - packed[from++] - 1;
    if (!(back >= 0) || !(to + length + 2 <= size)) return null;
    for (let i = 0; i < length + 2; i++) out[to++] = out[back++];
  }
  return to === size ? out : null;
}
