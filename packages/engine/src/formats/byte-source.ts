/**
 * Bytes of one input, read in pieces: a file, a browser's file object, a buffer in memory.
 *
 * Readers ask for rising positions only, unless they say otherwise, so that a pipe can be a source too.
 */
export interface ByteSource {
  /** Name for messages and for the choice between formats that look alike; a path's last part. */
  readonly name: string;
  /** Length in bytes, or null when it is not known before the end. */
  readonly size: number | null;
  /**
   * Copies bytes that start at `position` into `target`.
   *
   * @returns how many were copied; fewer than asked for is allowed, 0 only at the end
   */
  read(position: number, target: Uint8Array): Promise<number>;
}

/** Makes a source of bytes that are in memory already. The bytes are not copied. */
export function bytesInMemory(name: string, bytes: Uint8Array): ByteSource {
  return {
    name,
    size: bytes.length,
    read: async (position, target) => {
      const part = bytes.subarray(position, position + target.length);
      target.set(part);
      return part.length;
    },
  };
}
