import type { ByteSource } from './byte-source.ts';

/** 1 MiB: large enough that the cost of a read call vanishes, small enough to stay in the second-level cache. */
const CHUNK_BYTES = 1 << 20;

/**
 * A window that slides over a source. Unread bytes are `bytes[start..end)`; the consumer moves `start`.
 *
 * Memory   one buffer of `capacity` bytes, enlarged only when a single record is larger.
 * Layout   after `fill` the unread bytes begin at offset 0 of the buffer, so that records of aligned size stay aligned.
 */
export class ByteReader {
  readonly #source: ByteSource;
  bytes: Uint8Array;
  view: DataView;
  start = 0;
  end = 0;
  /** The source has no bytes beyond `end`. */
  atEnd = false;
  #bufferPosition = 0;

  constructor(source: ByteSource, capacity: number = CHUNK_BYTES) {
    this.#source = source;
    this.bytes = new Uint8Array(capacity);
    this.view = new DataView(this.bytes.buffer);
  }

  get name(): string {
    return this.#source.name;
  }

  get size(): number | null {
    return this.#source.size;
  }

  /** Byte offset in the source of the next unread byte. */
  get position(): number {
    return this.#bufferPosition + this.start;
  }

  /** Share of the source that is read, 0 to 1; 0 when its size is unknown. */
  get fraction(): number {
    return this.#source.size ? this.position / this.#source.size : 0;
  }

  /**
   * Bytes that may still come: exact when the size is known, otherwise no more than is buffered now.
   * Bounds what a count stated by the file may make us allocate.
   */
  get bytesLeft(): number {
    return this.#source.size === null ? this.end - this.start : Math.max(0, this.#source.size - this.position);
  }

  /**
   * Moves unread bytes to the front and reads until the buffer is full or the source ends.
   *
   * @param minimum bytes wanted at least, should the source hold them
   * @returns unread bytes now in the buffer
   */
  async fill(minimum = 1): Promise<number> {
    const kept = this.end - this.start;
    if (minimum > this.bytes.length) {
      const larger = new Uint8Array(Math.max(minimum, 2 * this.bytes.length));
      larger.set(this.bytes.subarray(this.start, this.end));
      this.bytes = larger;
      this.view = new DataView(larger.buffer);
    } else if (this.start > 0) {
      this.bytes.copyWithin(0, this.start, this.end);
    }
    this.#bufferPosition += this.start;
    this.start = 0;
    this.end = kept;
    while (!this.atEnd && this.end < this.bytes.length) {
      const count = await this.#source.read(this.#bufferPosition + this.end, this.bytes.subarray(this.end));
      if (count === 0) this.atEnd = true;
      this.end += count;
      if (this.#source.size !== null && this.#bufferPosition + this.end >= this.#source.size) this.atEnd = true;
    }
    return this.end;
  }

  /** Passes over bytes without keeping them. @returns how many could be passed over */
  async skip(count: number): Promise<number> {
    let left = count;
    for (;;) {
      const step = Math.min(left, this.end - this.start);
      this.start += step;
      left -= step;
      if (left === 0) return count;
      if ((await this.fill()) === 0) return count - left;
    }
  }
}
