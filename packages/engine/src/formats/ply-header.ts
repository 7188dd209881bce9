import { FormatError } from '../base/index.ts';
import type { LengthUnit } from '../model/index.ts';
import { utf8Text } from './ascii.ts';
import type { LineReader } from './line-reader.ts';
import { unitFromComment } from './stated-unit.ts';

/** Number types of PLY under one name each [Turk94]. */
export type PlyType = 'int8' | 'uint8' | 'int16' | 'uint16' | 'int32' | 'uint32' | 'float32' | 'float64';

const TYPES: Readonly<Record<string, PlyType>> = {
  char: 'int8',
  int8: 'int8',
  uchar: 'uint8',
  uint8: 'uint8',
  short: 'int16',
  int16: 'int16',
  ushort: 'uint16',
  uint16: 'uint16',
  int: 'int32',
  int32: 'int32',
  uint: 'uint32',
  uint32: 'uint32',
  float: 'float32',
  float32: 'float32',
  double: 'float64',
  float64: 'float64',
};

/** Bytes of each type in a binary file. */
export const PLY_TYPE_BYTES: Readonly<Record<PlyType, number>> = {
  int8: 1,
  uint8: 1,
  int16: 2,
  uint16: 2,
  int32: 4,
  uint32: 4,
  float32: 4,
  float64: 8,
};

export interface PlyProperty {
  readonly name: string;
  readonly type: PlyType;
  /** Type of the count in front of a list; null for a single number. */
  readonly countType: PlyType | null;
}

export interface PlyElement {
  readonly name: string;
  readonly count: number;
  readonly properties: readonly PlyProperty[];
}

export interface PlyHeader {
  readonly encoding: 'ascii' | 'binary-little-endian' | 'binary-big-endian';
  readonly elements: readonly PlyElement[];
  readonly statedUnit: LengthUnit | null;
  /** Key and value of `obj_info` lines. */
  readonly info: Readonly<Record<string, string>>;
  /** Number of lines of the header. */
  readonly lineCount: number;
}

/** No header in use comes near; more is a file that is not what it says. */
const MOST_HEADER_LINES = 10_000;

const ENCODINGS: Readonly<Record<string, PlyHeader['encoding']>> = {
  ascii: 'ascii',
  binary_little_endian: 'binary-little-endian',
  binary_big_endian: 'binary-big-endian',
};

/**
 * Reads the header of a PLY file and leaves the reader at the first byte of the data.
 *
 * The length is counted in bytes, so comments may be in any encoding; lines may end with LF, CR LF or CR.
 *
 * @throws FormatError with the line
 */
export async function readPlyHeader(lines: LineReader): Promise<PlyHeader> {
  const { reader } = lines;
  const fail = (code: string, message: string, hint: string): FormatError =>
    new FormatError(code, `${reader.name}, line ${lines.line}: ${message}`, hint, {
      file: reader.name,
      line: lines.line,
    });
  let encoding: PlyHeader['encoding'] | null = null;
  const elements: { name: string; count: number; properties: PlyProperty[] }[] = [];
  let statedUnit: LengthUnit | null = null;
  const info: Record<string, string> = {};
  let onlyCarriageReturns = false;
  for (;;) {
    while (!lines.next()) {
      if (await lines.more()) continue;
      throw fail('ply-header-incomplete', 'the header has no end_header.', 'The file is cut off or damaged.');
    }
    if (lines.line > MOST_HEADER_LINES) {
      throw fail('ply-header-too-long', `the header has more than ${MOST_HEADER_LINES} lines.`, 'The file is damaged.');
    }
    if (lines.line === 1) {
      onlyCarriageReturns = reader.start === lines.end + 1 && lines.bytes[lines.end] === 13;
    }
    const text = utf8Text(lines.bytes, lines.start, Math.min(lines.end, lines.start + 4096));
    const words = text.trim().split(/[ \t]+/);
    const keyword = lines.line === 1 ? 'ply' : words[0];
    if (keyword === 'end_header') break;
    if (keyword === 'format') {
      if (!Object.hasOwn(ENCODINGS, words[1] ?? '')) {
        throw fail(
          'ply-format-unknown',
          `format "${words[1] ?? ''}" is unknown.`,
          'Known: ascii and both binary orders.',
        );
      }
      encoding = ENCODINGS[words[1]];
    } else if (keyword === 'comment') {
      statedUnit ??= unitFromComment(text.replace(/^\s*comment/, ''));
    } else if (keyword === 'obj_info') {
      statedUnit ??= unitFromComment(text.replace(/^\s*obj_info/, ''));
      if (words.length >= 3) info[words[1]] = words.slice(2).join(' ');
    } else if (keyword === 'element') {
      const count = Number(words[2]);
      if (words.length < 3 || !/^\d+$/.test(words[2]) || count > 0xfffffffe) {
        throw fail('ply-count-invalid', `"${words[2] ?? ''}" is no count.`, 'The header is damaged; export again.');
      }
      elements.push({ name: words[1], count, properties: [] });
    } else if (keyword === 'property') {
      elements.at(-1)?.properties.push(parseProperty(words, fail));
      if (elements.length === 0) {
        throw fail('ply-property-misplaced', 'a property stands before any element.', 'The header is damaged.');
      }
    } else if (keyword !== 'ply' && text.trim() !== '') {
      throw fail('ply-keyword-unknown', `"${words[0].slice(0, 40)}" is no keyword of PLY.`, 'The header is damaged.');
    }
  }
  // Where lines end with CR alone, a first data byte that happens to be LF belongs to the data.
  if (onlyCarriageReturns && reader.start === lines.end + 2) reader.start--;
  if (!encoding) throw fail('ply-format-missing', 'the header has no format line.', 'The header is damaged.');
  return { encoding, elements, statedUnit, info, lineCount: lines.line };
}

function parseProperty(
  words: string[],
  fail: (code: string, message: string, hint: string) => FormatError,
): PlyProperty {
  const typeOf = (word: string | undefined): PlyType => {
    if (word === undefined || !Object.hasOwn(TYPES, word)) {
      throw fail('ply-type-unknown', `"${word ?? ''}" is no number type.`, 'Known: char to double, int8 to float64.');
    }
    return TYPES[word];
  };
  if (words[1] === 'list') {
    if (words.length < 5) throw fail('ply-property-incomplete', 'the list is incomplete.', 'The header is damaged.');
    const countType = typeOf(words[2]);
    if (countType === 'float32' || countType === 'float64') {
      throw fail('ply-type-unknown', 'a list cannot be counted by a fraction.', 'The header is damaged.');
    }
    return { name: words[4], type: typeOf(words[3]), countType };
  }
  if (words.length < 3) throw fail('ply-property-incomplete', 'the property has no name.', 'The header is damaged.');
  return { name: words[2], type: typeOf(words[1]), countType: null };
}
