import { type ByteSource, FormatError, type LengthUnit, type Vec3 } from '@lapjoint/engine';

/** One pair of picked points, in the file's unit. `a` and `b` name scans, sessions or frames. */
export interface RawPick {
  readonly line: number;
  readonly a: string | null;
  readonly b: string | null;
  readonly pointA: Vec3;
  readonly pointB: Vec3;
  readonly sigma: number | null;
}

/** Picked pairs of a file. */
export interface RawPicks {
  readonly name: string;
  readonly statedUnit: LengthUnit | null;
  readonly picks: readonly RawPick[];
}

const LONGEST = 1 << 22;
const COORDINATES = ['xa', 'ya', 'za', 'xb', 'yb', 'zb'] as const;
const UNIT_ENDING = /(?:_|\s*\[|\s*\()(mm|cm|m|in|ft|um)[\])]?$/;

function fault(file: string, line: number, message: string): FormatError {
  return new FormatError('picks-invalid', `${file}, line ${line}: ${message}`, 'See docs/formats/picked-pairs.md.', {
    file,
    line,
  });
}

function fieldsOf(line: string): string[] {
  const separator = line.includes(';') ? ';' : line.includes('\t') ? '\t' : line.includes(',') ? ',' : /\s+/;
  return line
    .trim()
    .split(separator)
    .map((field) => field.trim().replace(/^"(.*)"$/, '$1'));
}

async function textOf(source: ByteSource): Promise<string> {
  const bytes = new Uint8Array(LONGEST);
  let length = 0;
  for (let count = -1; count !== 0 && length < bytes.length; length += count) {
    count = await source.read(length, bytes.subarray(length));
  }
  if (length === 0) throw new FormatError('file-empty', `${source.name} is empty.`, 'Export the picks again.', {});
  try {
    return new TextDecoder('utf-8', { fatal: true }).decode(bytes.subarray(0, length));
  } catch (cause) {
    throw new FormatError('picks-invalid', `${source.name} is no text.`, 'Give the picks as CSV.', {}, { cause });
  }
}

/**
 * Reads picked pairs: a line of column names `a, xa, ya, za, b, xb, yb, zb` and perhaps `sigma`, then a line for each
 * pair (docs/formats/picked-pairs.md). Without `a` and `b` all pairs link the same two scans, named otherwise.
 *
 * @throws FormatError with the line
 */
export async function readPicks(source: ByteSource): Promise<RawPicks> {
  const lines = (await textOf(source)).split(/\r\n|\n|\r/);
  let columns: readonly string[] | null = null;
  let statedUnit: LengthUnit | null = null;
  const picks: RawPick[] = [];
  for (const [index, text] of lines.entries()) {
    const comment = /^\s*(?:#|\/\/|%)\s*unit\s*[:=]\s*(mm|cm|m|in|ft|um)\s*$/i.exec(text);
    if (comment) statedUnit = (comment[1] ?? '').toLowerCase() as LengthUnit;
    if (/^\s*(#|\/\/|%|$)/.test(text)) continue;
    const fields = fieldsOf(text);
    if (columns === null) {
      const units = new Set(fields.map((field) => UNIT_ENDING.exec(field.toLowerCase())?.[1]).filter(Boolean));
      if (units.size > 1) throw fault(source.name, index + 1, 'the columns are in different units.');
      const [unit] = units;
      statedUnit = (unit as LengthUnit | undefined) ?? statedUnit;
      columns = fields.map((field) => field.toLowerCase().replace(UNIT_ENDING, ''));
      const missing = COORDINATES.filter((name) => !columns?.includes(name));
      if (missing.length > 0) {
        throw fault(source.name, index + 1, `the columns ${missing.join(', ')} are missing.`);
      }
      continue;
    }
    picks.push(pickOf(source.name, index + 1, fields, columns));
  }
  if (picks.length === 0) throw fault(source.name, lines.length, 'there are no pairs.');
  return { name: source.name, statedUnit, picks };
}

function pickOf(file: string, line: number, fields: readonly string[], columns: readonly string[]): RawPick {
  const textAt = (column: string): string | null => {
    const field = fields[columns.indexOf(column)];
    return field === undefined || field === '' ? null : field;
  };
  const numberAt = (column: string): number => {
    const field = textAt(column);
    const value = field === null ? Number.NaN : Number(field);
    if (!Number.isFinite(value)) throw fault(file, line, `"${field ?? ''}" in the column ${column} is no number.`);
    return value;
  };
  const sigma = textAt('sigma') === null ? null : numberAt('sigma');
  if (sigma !== null && !(sigma > 0)) throw fault(file, line, 'sigma must be greater than zero.');
  return {
    line,
    a: textAt('a'),
    b: textAt('b'),
    pointA: [numberAt('xa'), numberAt('ya'), numberAt('za')],
    pointB: [numberAt('xb'), numberAt('yb'), numberAt('zb')],
    sigma,
  };
}
