import { FormatError } from '../base/index.ts';

/** How the columns of a text are laid out. */
export interface TextLayout {
  /** What stands between the fields; `blank` is any run of spaces and tabs. */
  readonly separator: 'blank' | ',' | ';' | '\t';
  /** Numbers are written with a decimal comma. */
  readonly decimalComma: boolean;
  /** Names of the columns, when a line gives them. */
  readonly columnNames: readonly string[] | null;
  /** Lines before the first data line, comments included. */
  readonly linesBefore: number;
  readonly columnCount: number;
}

const NUMBER = /^[-+]?(\d+\.?\d*|\.\d+)(e[-+]?\d+)?$/i;
const MISSING = /^[-+]?(nan|inf|infinity)$/i;
const COMMA_NUMBER = /^[-+]?\d+(,\d+)?(e[-+]?\d+)?$/i;

/** Whether a line says nothing to a reader of columns. */
export function isCommentLine(line: string): boolean {
  return /^\s*(#|\/\/|%|$)/.test(line);
}

/** Fields of a line; quotes around a field are taken off, and a separator inside quotes does not separate. */
export function splitFields(line: string, separator: TextLayout['separator']): string[] {
  if (separator === 'blank') return line.trim().split(/[ \t]+/);
  const fields: string[] = [];
  let field = '';
  let quoted = false;
  for (let i = 0; i < line.length; i++) {
    const character = line[i];
    if (character === '"' && (quoted || field.trim() === '')) {
      if (quoted && line[i + 1] === '"') {
        field += '"';
        i++;
      } else {
        quoted = !quoted;
      }
    } else if (character === separator && !quoted) {
      fields.push(field.trim());
      field = '';
    } else {
      field += character;
    }
  }
  fields.push(field.trim());
  // A separator at the end of each line is a habit of some exports.
  if (fields.length > 1 && fields.at(-1) === '') fields.pop();
  return fields;
}

/** Value of a field, or NaN when it is no number; words for missing values give NaN too. */
export function fieldNumber(field: string, decimalComma: boolean): number {
  const text = decimalComma ? field.replace(',', '.') : field;
  return NUMBER.test(text) ? Number(text) : Number.NaN;
}

function isNumeric(field: string, decimalComma: boolean): boolean {
  return (decimalComma ? COMMA_NUMBER.test(field) : NUMBER.test(field)) || MISSING.test(field);
}

/**
 * Finds out how the columns of a text are laid out, from its first lines.
 *
 * A decimal comma is accepted only where it can be nothing else: another character separates the fields, and the
 * digits behind the commas are not three everywhere (that could be groups of thousands).
 *
 * @param lines first lines of the text, whole ones
 * @param leastColumns numbers (after `textColumns` fields of words) that a data line has at least
 * @param textColumns fields in front that may be words, such as names
 * @throws FormatError when no layout fits, or when two do
 */
export function detectTextLayout(
  name: string,
  lines: readonly string[],
  leastColumns: number,
  textColumns = 0,
): TextLayout {
  const isData = (fields: readonly string[], decimalComma: boolean): boolean =>
    fields.length >= textColumns + leastColumns &&
    fields.slice(textColumns, textColumns + leastColumns).every((field) => isNumeric(field, decimalComma));
  const content = lines.map((line, index) => ({ line, index })).filter(({ line }) => !isCommentLine(line));
  let best: Candidate | null = null;
  for (const decimalComma of [false, true]) {
    for (const separator of [';', '\t', ',', 'blank'] as const) {
      if (separator === ',' && decimalComma) continue;
      const rows = content.map(({ line, index }) => ({ index, fields: splitFields(line, separator) }));
      const first = rows.findIndex(({ fields }) => isData(fields, decimalComma));
      // Up to two lines may stand before the data: a count, and names. A layout that makes data of more lines is right.
      if (first < 0 || first > 2 || (best !== null && first >= best.first)) continue;
      if (!rows.slice(first).every(({ fields }) => isData(fields, decimalComma))) continue;
      best = { separator, decimalComma, rows, first };
    }
  }
  if (best) return settle(name, lines, best);
  const line = content[0]?.index ?? 0;
  throw new FormatError(
    'text-columns-unknown',
    `${name}, line ${line + 1}: no columns of numbers were found.`,
    'Expected are lines with x, y, z between blanks, commas, semicolons or tabs, with a decimal point.',
    { file: name, line: line + 1 },
  );
}

/** A layout under which the lines are data from `first` on. */
interface Candidate {
  readonly separator: TextLayout['separator'];
  readonly decimalComma: boolean;
  readonly rows: readonly { readonly index: number; readonly fields: readonly string[] }[];
  readonly first: number;
}

function settle(name: string, lines: readonly string[], candidate: Candidate): TextLayout {
  const { separator, decimalComma, rows, first } = candidate;
  const data = rows.slice(first).map(({ fields }) => fields);
  const columnCount = Math.min(...data.map((fields) => fields.length));
  const columnNames = findColumnNames(lines, rows, first, separator, columnCount);
  if (separator === ',' && !columnNames) refuseIntegersWithCommas(name, data, rows[first].index);
  if (decimalComma) refuseThousands(name, data, rows[first].index);
  return { separator, decimalComma, columnNames, linesBefore: rows[first].index, columnCount };
}

function findColumnNames(
  lines: readonly string[],
  rows: readonly { readonly index: number; readonly fields: readonly string[] }[],
  first: number,
  separator: TextLayout['separator'],
  columnCount: number,
): readonly string[] | null {
  const before = first > 0 ? rows[first - 1] : undefined;
  if (
    before &&
    before.fields.length >= Math.min(columnCount, 3) &&
    !before.fields.every((field) => isNumeric(field, false))
  ) {
    return before.fields;
  }
  // Names may stand in a comment, such as "# x y z" or "//X Y Z".
  for (let index = rows[first].index - 1; index >= 0; index--) {
    const text = lines[index].replace(/^\s*(#|\/\/|%)+/, '');
    const fields = splitFields(text, separator).map((field) => field.toLowerCase());
    if (fields.length === columnCount && fields.some((field) => /^x(\b|_)/.test(field)))
      return splitFields(text, separator);
  }
  return null;
}

function refuseIntegersWithCommas(name: string, data: readonly (readonly string[])[], index: number): void {
  const integers = data.every((fields) => fields.every((field) => /^[-+]?\d+$/.test(field)));
  const columns = data[0].length;
  if (!integers || columns < 6 || columns % 2 !== 0) return;
  throw new FormatError(
    'text-decimal-comma',
    `${name}, line ${index + 1}: ${columns} whole numbers between commas may be ${columns / 2} numbers with a decimal comma.`,
    'Export with a decimal point, or with semicolons between the columns, or give the columns names in a first line.',
    { file: name, line: index + 1 },
  );
}

function refuseThousands(name: string, data: readonly (readonly string[])[], index: number): void {
  const withComma = data.flat().filter((field) => COMMA_NUMBER.test(field) && field.includes(','));
  if (withComma.some((field) => !/^[-+]?[1-9]\d{0,2},\d{3}$/.test(field))) return;
  throw new FormatError(
    'text-decimal-comma',
    `${name}, line ${index + 1}: the commas may be decimal commas or groups of thousands.`,
    'Export with a decimal point.',
    { file: name, line: index + 1 },
  );
}
