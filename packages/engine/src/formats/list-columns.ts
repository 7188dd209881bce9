import { FormatError } from '../base/index.ts';
import type { LengthUnit } from '../model/index.ts';
import { looksLikeText, utf8Text } from './ascii.ts';
import type { ByteSource } from './byte-source.ts';
import { columnNameAndUnit } from './point-columns.ts';
import { unitFromComment } from './stated-unit.ts';
import { detectTextLayout, fieldNumber, isCommentLine, splitFields, type TextLayout } from './text-table.ts';

/** Lists of targets and probed points are short; a longer file is a cloud. */
const LONGEST_LIST = 1 << 24;

/** One line of a list, as fields by column name. */
export interface ListRow {
  readonly line: number;
  /** Number in a column, or null when the column or the entry is missing. */
  number(column: string): number | null;
  text(column: string): string;
}

/** A table of named rows. */
export interface ListTable {
  readonly columns: readonly string[];
  /** Unit that the column names or a comment state. */
  readonly statedUnit: LengthUnit | null;
  readonly rows: readonly ListRow[];
}

/**
 * Reads a list of named rows: a name first, then numbers. Separator and decimal sign are found as for clouds.
 *
 * @param usual column names that hold when no line gives any, in order, as many as there are columns
 * @throws FormatError with the line
 */
export async function readListTable(source: ByteSource, usual: readonly string[]): Promise<ListTable> {
  const lines = await readLines(source);
  let statedUnit: LengthUnit | null = null;
  for (const line of lines) {
    if (isCommentLine(line)) statedUnit ??= unitFromComment(line.replace(/^\s*(#|\/\/|%)+/, ''));
  }
  const layout = detectTextLayout(source.name, lines, 3, 1);
  const named = (layout.columnNames ?? usual.slice(0, layout.columnCount)).map(columnNameAndUnit);
  const units = new Set(['x', 'y', 'z'].map((axis) => named.find(({ name }) => name === axis)?.unit ?? null));
  const [unit] = units;
  const stated = new Set(named.map((column) => column.unit).filter((word) => word !== null));
  if (stated.size > 1) {
    throw new FormatError(
      'list-units-differ',
      `${source.name}: the columns are in different units (${[...stated].join(', ')}).`,
      'Bring all lengths of the list to one unit.',
      { file: source.name },
    );
  }
  const columns = named.map(({ name }) => name.replaceAll(' ', '_'));
  const rows: ListRow[] = [];
  for (let index = layout.linesBefore; index < lines.length; index++) {
    if (isCommentLine(lines[index])) continue;
    rows.push(makeRow(source.name, index + 1, splitFields(lines[index], layout.separator), columns, layout));
  }
  return { columns, statedUnit: (units.size === 1 ? unit : null) ?? statedUnit, rows };
}

function makeRow(
  file: string,
  line: number,
  fields: readonly string[],
  columns: readonly string[],
  layout: TextLayout,
): ListRow {
  return {
    line,
    text: (column) => fields[columns.indexOf(column)] ?? '',
    number: (column) => {
      const field = fields[columns.indexOf(column)];
      if (field === undefined || field === '') return null;
      const value = fieldNumber(field, layout.decimalComma);
      if (!Number.isFinite(value)) {
        throw new FormatError(
          'list-number-expected',
          `${file}, line ${line}: "${field.slice(0, 40)}" in the column ${column} is no finite number.`,
          'Correct the line.',
          { file, line },
        );
      }
      return value;
    },
  };
}

async function readLines(source: ByteSource): Promise<string[]> {
  const bytes = new Uint8Array(Math.min(source.size ?? LONGEST_LIST, LONGEST_LIST) + 1);
  let length = 0;
  while (length < bytes.length) {
    const count = await source.read(length, bytes.subarray(length));
    if (count === 0) break;
    length += count;
  }
  const fail = (code: string, message: string, hint: string): FormatError =>
    new FormatError(code, `${source.name} ${message}`, hint, { file: source.name });
  if (length === 0) throw fail('file-empty', 'is empty.', 'Export the list again.');
  if (length > LONGEST_LIST) throw fail('list-too-long', 'is too long for a list.', 'Add a cloud as a scan.');
  if (!looksLikeText(bytes, 0, length)) throw fail('list-not-text', 'is no text.', 'Export the list as CSV.');
  return utf8Text(bytes, 0, length)
    .replace(/^\ufeff/, '')
    .split(/\r\n|\n|\r/);
}
