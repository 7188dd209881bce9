import { FormatError } from '../base/index.ts';
import { isBlank } from './ascii.ts';
import type { ByteReader } from './byte-reader.ts';

const LINE_FEED = 10;
const CARRIAGE_RETURN = 13;

/** A line longer than this is no text line of any of our formats. */
const LONGEST_LINE = 1 << 24;

/**
 * Walks over the lines of a text without making strings.
 *
 * A line ends with LF, CR LF or CR. `start..end` are offsets into `bytes`; `split` finds the words between blanks.
 */
export class LineReader {
  readonly reader: ByteReader;
  /** Number of the current line, from one. */
  line = 0;
  start = 0;
  end = 0;
  /** The current line was closed by a line end, not by the end of the input. */
  terminated = false;
  wordCount = 0;
  wordStarts: Int32Array = new Int32Array(64);
  wordEnds: Int32Array = new Int32Array(64);

  constructor(reader: ByteReader, linesBefore = 0) {
    this.reader = reader;
    this.line = linesBefore;
  }

  get bytes(): Uint8Array {
    return this.reader.bytes;
  }

  /** Goes to the next line inside the buffer. @returns false when the line is not complete there: call `more` */
  next(): boolean {
    const reader = this.reader;
    const bytes = reader.bytes;
    const stop = reader.end;
    let i = reader.start;
    while (i < stop && bytes[i] !== LINE_FEED && bytes[i] !== CARRIAGE_RETURN) i++;
    if (i === stop && !(reader.atEnd && stop > reader.start)) return false;
    // A CR that is the buffer's last byte may be the first half of CR LF.
    if (i === stop - 1 && bytes[i] === CARRIAGE_RETURN && !reader.atEnd) return false;
    this.start = reader.start;
    this.end = i;
    this.terminated = i < stop;
    this.line++;
    reader.start =
      i < stop ? i + (bytes[i] === CARRIAGE_RETURN && bytes[i + 1] === LINE_FEED && i + 1 < stop ? 2 : 1) : i;
    return true;
  }

  /** Reads on after `next` gave false. @returns false at the end of the input */
  async more(): Promise<boolean> {
    const before = this.reader.end - this.reader.start;
    if (before > LONGEST_LINE) {
      throw new FormatError(
        'text-line-too-long',
        `Line ${this.line + 1} of ${this.reader.name} has more than ${LONGEST_LINE} bytes.`,
        'This is no text file of points or faces; check which format it is.',
        { file: this.reader.name, line: this.line + 1 },
      );
    }
    if (this.reader.atEnd) return false;
    const available = await this.reader.fill(before + 1);
    return available > before || (this.reader.atEnd && available > 0);
  }

  /** Finds the words of the current line, up to a comment mark when one is given. @returns their number */
  split(commentByte = -1): number {
    const bytes = this.reader.bytes;
    const stop = this.end;
    let count = 0;
    let i = this.start;
    for (;;) {
      while (i < stop && isBlank(bytes[i])) i++;
      if (i >= stop || bytes[i] === commentByte) break;
      if (count === this.wordStarts.length) this.#growWords();
      this.wordStarts[count] = i;
      while (i < stop && !isBlank(bytes[i])) i++;
      this.wordEnds[count++] = i;
    }
    this.wordCount = count;
    return count;
  }

  /** Finds the fields of the current line between separators, without the blanks around them. @returns their number */
  splitAt(separator: number): number {
    const bytes = this.reader.bytes;
    let count = 0;
    let fieldStart = this.start;
    for (let i = this.start; i <= this.end; i++) {
      if (i < this.end && bytes[i] !== separator) continue;
      let start = fieldStart;
      let end = i;
      while (start < end && isBlank(bytes[start])) start++;
      while (end > start && isBlank(bytes[end - 1])) end--;
      if (count === this.wordStarts.length) this.#growWords();
      this.wordStarts[count] = start;
      this.wordEnds[count++] = end;
      fieldStart = i + 1;
    }
    // A separator at the end of the line closes the last field.
    if (count > 1 && this.wordStarts[count - 1] === this.wordEnds[count - 1]) count--;
    this.wordCount = count;
    return count;
  }

  #growWords(): void {
    const starts = new Int32Array(2 * this.wordStarts.length);
    const ends = new Int32Array(2 * this.wordEnds.length);
    starts.set(this.wordStarts);
    ends.set(this.wordEnds);
    this.wordStarts = starts;
    this.wordEnds = ends;
  }
}
