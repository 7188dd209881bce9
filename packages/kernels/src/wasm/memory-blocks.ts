/** Blocks start at multiples of this. */
const ALIGNMENT = 64;

/** A piece of memory. */
export interface MemoryBlock {
  readonly start: number;
  readonly size: number;
}

/**
 * Hands out blocks of one memory region: first fit over a list of free blocks, sorted by address, neighbours merged.
 *
 * The list lives in JavaScript: WebAssembly code never allocates.
 */
export class MemoryBlocks {
  private readonly free: { start: number; size: number }[];
  private end: number;
  private readonly grow: (end: number) => void;

  /**
   * @param start first byte that may be handed out
   * @param end byte after the last one
   * @param grow makes the memory reach at least up to a byte, or throws
   */
  constructor(start: number, end: number, grow: (end: number) => void) {
    const first = Math.ceil(start / ALIGNMENT) * ALIGNMENT;
    this.free = end > first ? [{ start: first, size: end - first }] : [];
    this.end = Math.max(first, end);
    this.grow = grow;
  }

  /** @throws RangeError when the memory cannot hold the block */
  take(bytes: number): MemoryBlock {
    const size = Math.max(1, Math.ceil(bytes / ALIGNMENT)) * ALIGNMENT;
    let at = this.free.findIndex((block) => block.size >= size);
    if (at < 0) {
      const last = this.free.at(-1);
      const tail = last && last.start + last.size === this.end ? last.size : 0;
      const end = this.end - tail + size;
      this.grow(end);
      if (tail > 0 && last) last.size += end - this.end;
      else this.free.push({ start: this.end, size: end - this.end });
      this.end = end;
      at = this.free.length - 1;
    }
    const block = this.free[at];
    const start = block.start;
    block.start += size;
    block.size -= size;
    if (block.size === 0) this.free.splice(at, 1);
    return { start, size };
  }

  /** Takes a block back. */
  give(block: MemoryBlock): void {
    let at = this.free.findIndex((other) => other.start > block.start);
    if (at < 0) at = this.free.length;
    const before = this.free[at - 1];
    const after = this.free[at];
    const joinsBefore = before !== undefined && before.start + before.size === block.start;
    const joinsAfter = after !== undefined && block.start + block.size === after.start;
    if (joinsBefore && joinsAfter) {
      before.size += block.size + after.size;
      this.free.splice(at, 1);
    } else if (joinsBefore) before.size += block.size;
    else if (joinsAfter) {
      after.start = block.start;
      after.size += block.size;
    } else this.free.splice(at, 0, { start: block.start, size: block.size });
  }

  /** Bytes that are not handed out. */
  freeBytes(): number {
    return this.free.reduce((sum, block) => sum + block.size, 0);
  }
}
