import { textBytes } from './ascii.ts';

/**
 * Takes the bytes of an output piece by piece. The bytes of a piece may be overwritten once its promise is fulfilled.
 */
export type ByteSink = (chunk: Uint8Array) => Promise<void>;

/** What was written. */
export interface WriteSummary {
  readonly byteCount: number;
  /** Largest change of a coordinate by the format's number type, mm. */
  readonly rounding: number;
}

const BUFFER_BYTES = 1 << 20;

/** Gathers small writes into pieces of up to 1 MiB for a sink. Call `room` before each record and `flush` at the end. */
export class ByteWriter {
  readonly #sink: ByteSink;
  readonly bytes: Uint8Array = new Uint8Array(BUFFER_BYTES);
  readonly view: DataView = new DataView(this.bytes.buffer);
  /** Bytes in the buffer; whoever writes into `bytes` moves it on. */
  length = 0;
  #flushed = 0;

  constructor(sink: ByteSink) {
    this.#sink = sink;
  }

  get byteCount(): number {
    return this.#flushed + this.length;
  }

  /** Whether so many bytes fit; otherwise flush first. */
  hasRoom(count: number): boolean {
    return this.length + count <= BUFFER_BYTES;
  }

  async flush(): Promise<void> {
    if (this.length === 0) return;
    await this.#sink(this.bytes.subarray(0, this.length));
    this.#flushed += this.length;
    this.length = 0;
  }

  /** Writes text of any length. */
  async text(text: string): Promise<void> {
    await this.block(textBytes(text));
  }

  /** Writes bytes of any number. */
  async block(block: Uint8Array): Promise<void> {
    for (let at = 0; at < block.length; ) {
      if (this.length === BUFFER_BYTES) await this.flush();
      const count = Math.min(block.length - at, BUFFER_BYTES - this.length);
      this.bytes.set(block.subarray(at, at + count), this.length);
      this.length += count;
      at += count;
    }
  }

  /** Appends ASCII text for which there is room. */
  ascii(text: string): void {
    const { bytes } = this;
    let at = this.length;
    for (let i = 0; i < text.length; i++) bytes[at++] = text.charCodeAt(i);
    this.length = at;
  }
}
