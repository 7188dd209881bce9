import { type ByteSource, FormatError } from '@lapjoint/engine';

/** What kind of data a file holds; `auto`: told from its content. */
export type InputKind = 'auto' | 'scan' | 'targets' | 'probe';

/** Bytes looked at. */
const HEAD_BYTES = 1 << 16;
/** Only files of these endings can be lists; all others are scans. */
const LIST_ENDINGS: ReadonlySet<string> = new Set(['csv', 'txt', 'tsv', 'lst']);
const PROBE_COLUMNS: ReadonlySet<string> = new Set(['feature', 'element', 'i', 'j', 'k', 'tip_radius', 'tip_diameter']);
const NAME_COLUMNS: ReadonlySet<string> = new Set(['name', 'target', 'id', 'point']);
/** A list of numbered rows longer than this is a cloud. */
const LONGEST_NUMBERED_LIST = 1000;

function isNumber(field: string): boolean {
  return /^[-+]?(\d+[.,]?\d*|[.,]\d+)(e[-+]?\d+)?$|^[-+]?(nan|inf|infinity)$/i.test(field);
}

function fieldsOf(line: string): string[] {
  const separator = line.includes(';') ? ';' : line.includes('\t') ? '\t' : line.includes(',') ? ',' : /[ \t]+/;
  return line.split(separator).map((field) => field.trim().replace(/^"(.*)"$/, '$1'));
}

/** Column name without unit: `X [mm]`, `x_mm`, `x (mm)` and `x` are all x. */
function columnName(field: string): string {
  return field
    .toLowerCase()
    .replace(/[[(].*$/, '')
    .replace(/_(mm|cm|m|in|ft|um)$/, '')
    .trim()
    .replaceAll(' ', '_');
}

/** Kind told from the lines of a text; null when two readings fit equally well. */
export function kindOfLines(lines: readonly string[]): Exclude<InputKind, 'auto'> | null {
  const rows = lines.filter((line) => !/^\s*(#|\/\/|%|$)/.test(line)).map(fieldsOf);
  const [first = []] = rows;
  const names = first.some(isNumber) ? [] : first.map(columnName);
  const data = names.length > 0 ? rows.slice(1) : rows;
  if (names.some((name) => PROBE_COLUMNS.has(name))) return 'probe';
  if (names.some((name) => NAME_COLUMNS.has(name))) return 'targets';
  if (names.length > 0 || data.length === 0) return 'scan';
  const named = data.every((fields) => !isNumber(fields[0] ?? '') && fields.slice(1, 4).filter(isNumber).length === 3);
  if (named) return data.every((fields) => fields.filter((field) => field !== '').length >= 7) ? 'probe' : 'targets';
  const numbered = data.every(
    (fields, i) =>
      fields.length >= 4 && /^\d+$/.test(fields[0] ?? '') && Number(fields[0]) === Number(data[0]?.[0]) + i,
  );
  return numbered && data.length > 1 && data.length < LONGEST_NUMBERED_LIST ? null : 'scan';
}

/**
 * Tells whether a file holds a scan, a target list or probed points, from its name's ending and its first lines.
 *
 * @throws FormatError `kind-unknown` when it may be either: a few numbered rows without column names
 */
export async function detectInputKind(source: ByteSource): Promise<Exclude<InputKind, 'auto'>> {
  const ending = source.name.slice(source.name.lastIndexOf('.') + 1).toLowerCase();
  if (!LIST_ENDINGS.has(ending)) return 'scan';
  const bytes = new Uint8Array(HEAD_BYTES);
  let length = 0;
  for (let count = -1; count !== 0 && length < bytes.length; length += count) {
    count = await source.read(length, bytes.subarray(length));
  }
  const lines = new TextDecoder('latin1')
    .decode(bytes.subarray(0, length))
    .replace(/^\u00ef\u00bb\u00bf/, '')
    .split(/\r\n|\n|\r/);
  // The last line may be cut.
  if (length === bytes.length) lines.pop();
  const kind = kindOfLines(lines);
  if (kind !== null) return kind;
  throw new FormatError(
    'kind-unknown',
    `${source.name} may be a list of numbered targets or a cloud of points.`,
    'Say which with --kind targets or --kind scan, or give the columns names in a first line.',
    { file: source.name },
  );
}
