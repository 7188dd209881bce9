const ALPHABET = 'ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/';

/** Bytes of a base64 text (RFC 4648, with padding); by hand, because the language itself has no decoder. */
export function decodeBase64(text: string): Uint8Array {
  const padding = text.endsWith('==') ? 2 : text.endsWith('=') ? 1 : 0;
  const bytes = new Uint8Array((text.length / 4) * 3 - padding);
  const values = new Uint8Array(128);
  for (let i = 0; i < 64; i++) values[ALPHABET.charCodeAt(i)] = i;
  for (let i = 0, at = 0; i < text.length; i += 4) {
    const bits =
      (values[text.charCodeAt(i)] << 18) |
      (values[text.charCodeAt(i + 1)] << 12) |
      (values[text.charCodeAt(i + 2)] << 6) |
      values[text.charCodeAt(i + 3)];
    bytes[at++] = bits >> 16;
    if (at < bytes.length) bytes[at++] = (bits >> 8) & 255;
    if (at < bytes.length) bytes[at++] = bits & 255;
  }
  return bytes;
}
