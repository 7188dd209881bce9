import { readFileSync } from 'node:fs';

/** Contents of a file of little-endian float32. */
export function readFloat32(path: string): Float32Array {
  const bytes = readFileSync(path);
  return new Float32Array(bytes.buffer.slice(bytes.byteOffset, bytes.byteOffset + bytes.byteLength));
}

/** Contents of a file of little-endian int32 that are not negative. */
export function readUint32(path: string): Uint32Array {
  return new Uint32Array(readFloat32(path).buffer);
}
