const ALPHABET = 'ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/';

/** Base64 text of bytes (RFC 4648, with padding). */
export function encodeBase64(bytes: Uint8Array): string {
  const parts: string[] = [];
  let part = '';
  for (let i = 0; i < bytes.length; i += 3) {
    const left = bytes.length - i;
    const value = (bytes[i] << 16) | ((left > 1 ? bytes[i + 1] : 0) << 8) | (left > 2 ? bytes[i + 2] : 0);
    part += ALPHABET[value >> 18] + ALPHABET[(value >> 12) & 63];
    part += left > 1 ? ALPHABET[(value >> 6) & 63] : '=';
    part += left > 2 ? ALPHABET[value & 63] : '=';
    if (part.length > 8192) {
      parts.push(part);
      part = '';
    }
  }
  parts.push(part);
  return parts.join('');
}
