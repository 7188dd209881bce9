import { FormatError, type RunContext } from '../base/index.ts';
import { asciiText, isNumberText, parseNumber } from './ascii.ts';
import type { FaceCollector } from './face-collector.ts';
import type { LineReader } from './line-reader.ts';
import { addStrip } from './ply-binary.ts';
import type { PlyElement } from './ply-header.ts';
import type { VertexTable } from './ply-vertices.ts';

/** Lines between two looks at the stop signal. */
const LINES_PER_CHECK = 20_000;

/** Goes to the next line that holds words. @returns false at the end of the file */
async function nextRecord(lines: LineReader): Promise<boolean> {
  for (;;) {
    if (lines.next()) {
      if (lines.split() > 0) return true;
    } else if (!(await lines.more())) {
      return false;
    }
  }
}

function wordNumber(lines: LineReader, word: number): number {
  const value = parseNumber(lines.bytes, lines.wordStarts[word], lines.wordEnds[word]);
  if (Number.isNaN(value) && !isNumberText(lines.bytes, lines.wordStarts[word], lines.wordEnds[word])) {
    const { name } = lines.reader;
    const text = asciiText(
      lines.bytes,
      lines.wordStarts[word],
      Math.min(lines.wordEnds[word], lines.wordStarts[word] + 20),
    );
    throw new FormatError(
      'ply-number-expected',
      `${name}, line ${lines.line}: "${text.replace(/[^ -~]/g, '?')}" is no number.`,
      'The data are damaged, or the header says ascii where the data are binary.',
      { file: name, line: lines.line },
    );
  }
  return value;
}

/** Word at which each property of the current line starts; lists may move it. */
class WordCursor {
  readonly #element: PlyElement;
  readonly places: Int32Array;
  readonly counts: Int32Array;

  constructor(element: PlyElement) {
    this.#element = element;
    this.places = new Int32Array(element.properties.length);
    this.counts = new Int32Array(element.properties.length);
  }

  /** @returns words the record needs, perhaps more than the line has */
  measure(lines: LineReader): number {
    const { properties } = this.#element;
    let word = 0;
    for (let i = 0; i < properties.length; i++) {
      let width = 1;
      if (properties[i].countType) {
        if (word >= lines.wordCount) {
          // A missing list is an empty one: some writers leave it out.
          this.places[i] = word;
          this.counts[i] = 0;
          continue;
        }
        width = wordNumber(lines, word);
        if (!(width >= 0 && width <= lines.wordCount)) return Number.POSITIVE_INFINITY;
        word++;
      }
      this.places[i] = word;
      this.counts[i] = width;
      word += width;
    }
    return word;
  }
}

/** Whether the last line may be a torn one: more should follow, yet the file ends without a line end. */
function isTorn(lines: LineReader, recordsLeft: number): boolean {
  return !lines.terminated && recordsLeft > 1;
}

function recordError(lines: LineReader, element: PlyElement, needed: number): FormatError {
  const { name } = lines.reader;
  const wants = Number.isFinite(needed) ? `${needed} numbers` : 'more numbers than the line holds';
  return new FormatError(
    'ply-record-length',
    `${name}, line ${lines.line}: a record of "${element.name}" needs ${wants}, the line has ${lines.wordCount}.`,
    'The counts in the header do not match the data, or the data are damaged.',
    { file: name, line: lines.line },
  );
}

/** Reads the vertex element. @returns complete vertices read */
export async function readAsciiVertices(
  lines: LineReader,
  element: PlyElement,
  table: VertexTable,
  context: RunContext,
): Promise<number> {
  const cursor = new WordCursor(element);
  const hasLists = element.properties.some((property) => property.countType);
  const plainWords = element.properties.length;
  if (!hasLists)
    cursor.places.forEach((_, i) => {
      cursor.places[i] = i;
    });
  let done = 0;
  while (done < element.count) {
    if (!(await nextRecord(lines))) break;
    const needed = hasLists ? cursor.measure(lines) : plainWords;
    if (isTorn(lines, element.count - done)) break;
    if (lines.wordCount !== needed) {
      if (!lines.terminated && lines.wordCount < needed) break;
      throw recordError(lines, element, needed);
    }
    for (const column of table.columns) {
      column.target[done * column.width + column.place] = wordNumber(lines, cursor.places[column.property]);
    }
    if (++done % LINES_PER_CHECK === 0) await context.checkpoint(lines.reader.fraction);
  }
  return done;
}

/** Reads faces (or strips). @returns complete records read */
export async function readAsciiFaces(
  lines: LineReader,
  element: PlyElement,
  listIndex: number,
  strips: boolean,
  faces: FaceCollector,
  context: RunContext,
): Promise<number> {
  const cursor = new WordCursor(element);
  let corners = new Uint32Array(64);
  let done = 0;
  while (done < element.count) {
    if (!(await nextRecord(lines))) break;
    const needed = cursor.measure(lines);
    if (isTorn(lines, element.count - done)) break;
    if (lines.wordCount < needed) {
      if (!lines.terminated) break;
      throw recordError(lines, element, needed);
    }
    const count = cursor.counts[listIndex];
    if (count > corners.length) corners = new Uint32Array(2 * count);
    for (let i = 0; i < count; i++) {
      const index = wordNumber(lines, cursor.places[listIndex] + i);
      corners[i] = index >= 0 && index < 0xffffffff ? index : 0xffffffff;
    }
    if (strips) addStrip(faces, corners, count);
    else faces.addFace(corners, count);
    if (++done % LINES_PER_CHECK === 0) await context.checkpoint(lines.reader.fraction);
  }
  return done;
}

/** Reads the sampling grid: for each cell its vertex, or -1. @returns complete cells read */
export async function readAsciiGrid(
  lines: LineReader,
  element: PlyElement,
  listIndex: number,
  cells: Int32Array,
  context: RunContext,
): Promise<number> {
  const cursor = new WordCursor(element);
  let done = 0;
  while (done < cells.length) {
    if (!(await nextRecord(lines))) break;
    const needed = cursor.measure(lines);
    if (isTorn(lines, cells.length - done)) break;
    if (lines.wordCount < needed) {
      if (!lines.terminated) break;
      throw recordError(lines, element, needed);
    }
    if (cursor.counts[listIndex] > 0) cells[done] = wordNumber(lines, cursor.places[listIndex]);
    if (++done % LINES_PER_CHECK === 0) await context.checkpoint(lines.reader.fraction);
  }
  return done;
}

/** Passes over an element. @returns records passed */
export async function skipAsciiElement(lines: LineReader, element: PlyElement): Promise<number> {
  if (element.properties.length === 0) return element.count;
  let done = 0;
  while (done < element.count && (await nextRecord(lines))) done++;
  return done;
}
