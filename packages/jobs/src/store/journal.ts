import { createHash } from 'node:crypto';
import { AppError, type JobChange } from '@lapjoint/engine';
import type { StorageFiles } from './storage-files.ts';

/** A file that the job wrote for the user, so that writing it again does not count as overwriting. */
export interface ExportedFile {
  readonly path: string;
  readonly sha256: string;
}

/** What one line of the journal says. Sequence numbers count from 1 without gaps. */
export type JournalEntry = {
  readonly sequence: number;
  /** ISO 8601, UTC. For people only: no result depends on it. */
  readonly time: string;
  /** In words, for `log`, `undo` and `redo`. */
  readonly summary: string;
} & (
  | { readonly kind: 'change'; readonly change: JobChange }
  | { readonly kind: 'undo'; readonly target: number }
  | { readonly kind: 'redo'; readonly target: number }
  | { readonly kind: 'export'; readonly files: readonly ExportedFile[] }
);

/** Damage that no interrupted write explains. Lines count from 1. */
export interface JournalDamage {
  readonly line: number;
  readonly reason: string;
}

/** What the bytes of a journal say. */
export interface JournalContent {
  /** Entries before the first damage. */
  readonly entries: readonly JournalEntry[];
  /** Bytes up to the end of the last good entry; a writer cuts the file here. */
  readonly validByteLength: number;
  /** Bytes of a last line whose write was interrupted; they say nothing and are ignored. */
  readonly tornByteLength: number;
  readonly lastSum: string;
  readonly damage: JournalDamage | null;
}

/** The sum before the first line. */
const FIRST_JOURNAL_SUM = '0'.repeat(32);
const NEWLINE = 0x0a;
const PREFIX = '{"sum":"';
const MIDDLE = '","entry":';
const ENTRY_START = PREFIX.length + FIRST_JOURNAL_SUM.length + MIDDLE.length;

/** Each sum covers the line before it, so that lost, doubled and exchanged lines are seen as well as changed ones. */
function sumOf(previousSum: string, entryText: string): string {
  return createHash('sha256').update(previousSum).update('\n').update(entryText).digest('hex').slice(0, 32);
}

/** The line of an entry, with its newline, and its sum. */
export function encodeJournalLine(entry: JournalEntry, previousSum: string): { bytes: Uint8Array; sum: string } {
  const text = JSON.stringify(entry);
  const sum = sumOf(previousSum, text);
  return { bytes: new TextEncoder().encode(`${PREFIX}${sum}${MIDDLE}${text}}\n`), sum };
}

function readLine(line: string, previousSum: string, sequence: number): JournalEntry | string {
  if (
    !line.startsWith(PREFIX) ||
    line.slice(ENTRY_START - MIDDLE.length, ENTRY_START) !== MIDDLE ||
    !line.endsWith('}')
  )
    return 'is not a journal line';
  const text = line.slice(ENTRY_START, -1);
  if (line.slice(PREFIX.length, PREFIX.length + FIRST_JOURNAL_SUM.length) !== sumOf(previousSum, text)) {
    return 'has bytes that do not match their checksum';
  }
  const entry = JSON.parse(text) as JournalEntry;
  return entry.sequence === sequence ? entry : `has number ${entry.sequence}, expected ${sequence}`;
}

/**
 * Reads a journal. Never throws: what is wrong is part of the answer.
 *
 * A last line without newline is an interrupted write and is ignored, unless all of it is there. Any other line that
 * does not match its checksum is damage.
 */
export function parseJournal(bytes: Uint8Array): JournalContent {
  const decoder = new TextDecoder();
  const entries: JournalEntry[] = [];
  let start = 0;
  let sum = FIRST_JOURNAL_SUM;
  const answer = (damage: JournalDamage | null, tornByteLength = 0): JournalContent => ({
    entries,
    validByteLength: start,
    tornByteLength,
    lastSum: sum,
    damage,
  });
  while (start < bytes.length) {
    const end = bytes.indexOf(NEWLINE, start);
    const complete = end >= 0;
    const line = decoder.decode(bytes.subarray(start, complete ? end : bytes.length));
    const entry = readLine(line, sum, entries.length + 1);
    if (typeof entry === 'string') {
      if (complete) return answer({ line: entries.length + 1, reason: entry });
      // All of the entry and one byte that should be the newline: no interrupted write looks like that.
      const whole = typeof readLine(line.slice(0, -1), sum, entries.length + 1) !== 'string';
      return whole
        ? answer({ line: entries.length + 1, reason: 'does not end with a newline' })
        : answer(null, bytes.length - start);
    }
    if (!complete) return answer(null, bytes.length - start);
    entries.push(entry);
    sum = line.slice(PREFIX.length, PREFIX.length + FIRST_JOURNAL_SUM.length);
    start = end + 1;
  }
  return answer(null);
}

/** Appends to a journal on the disk. Only the holder of the writer's claim may use it. */
export class JournalWriter {
  readonly #path: string;
  readonly #files: StorageFiles;
  #byteLength: number;
  #lastSum: string;
  #broken = false;

  constructor(path: string, files: StorageFiles, content: JournalContent) {
    this.#path = path;
    this.#files = files;
    this.#byteLength = content.validByteLength;
    this.#lastSum = content.lastSum;
  }

  /** Cuts off a line whose write was interrupted. */
  async dropTorn(content: JournalContent): Promise<void> {
    if (content.tornByteLength > 0) await this.#files.truncate(this.#path, content.validByteLength);
  }

  /** Adds one entry; it is on the disk when the promise resolves, and not there when it rejects. */
  async append(entry: JournalEntry): Promise<void> {
    if (this.#broken) {
      throw new AppError(
        'storage-failed',
        'An earlier write to the journal could not be taken back.',
        'Run the command again.',
      );
    }
    const { bytes, sum } = encodeJournalLine(entry, this.#lastSum);
    try {
      await this.#files.writeAt(this.#path, this.#byteLength, bytes);
    } catch (error) {
      this.#broken = true;
      await this.#files.truncate(this.#path, this.#byteLength).then(
        () => {
          this.#broken = false;
        },
        () => undefined,
      );
      throw error;
    }
    this.#byteLength += bytes.byteLength;
    this.#lastSum = sum;
  }
}
