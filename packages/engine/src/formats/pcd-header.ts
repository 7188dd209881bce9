import { FormatError } from '../base/index.ts';
import type { LengthUnit } from '../model/index.ts';
import { utf8Text } from './ascii.ts';
import type { LineReader } from './line-reader.ts';
import type { PlyProperty, PlyType } from './ply-header.ts';
import { unitFromComment } from './stated-unit.ts';

export interface PcdHeader {
  /** One entry for each number of a point; numbers of unknown meaning get a name with an index. */
  readonly fields: readonly PlyProperty[];
  readonly pointCount: number;
  readonly data: 'ascii' | 'binary' | 'binary_compressed';
  readonly statedUnit: LengthUnit | null;
}

const TYPES: Readonly<Record<string, PlyType>> = {
  F4: 'float32',
  F8: 'float64',
  U1: 'uint8',
  U2: 'uint16',
  U4: 'uint32',
  I1: 'int8',
  I2: 'int16',
  I4: 'int32',
  // 64-bit integers (time stamps) are passed over; only their width matters.
  U8: 'float64',
  I8: 'float64',
};

/** More lines, or more numbers a point, than any PCD has. */
const MOST_LINES = 1000;
const MOST_FIELDS = 10_000;

/** Reads the header of a PCD file and leaves the reader at the first byte of the data. */
export async function readPcdHeader(lines: LineReader): Promise<PcdHeader> {
  const { reader } = lines;
  const fail = (message: string): FormatError =>
    new FormatError(
      'pcd-header-invalid',
      `${reader.name}, line ${lines.line}: ${message}`,
      'The header is damaged; export the cloud again.',
      { file: reader.name, line: lines.line },
    );
  const entries = new Map<string, string[]>();
  let statedUnit: LengthUnit | null = null;
  while (!entries.has('DATA')) {
    while (!lines.next()) if (!(await lines.more())) throw fail('the header has no DATA line.');
    if (lines.line > MOST_LINES) throw fail('the header is too long.');
    const text = utf8Text(lines.bytes, lines.start, Math.min(lines.end, lines.start + 65536)).trim();
    if (text.startsWith('#')) statedUnit ??= unitFromComment(text.slice(1));
    else if (text !== '') entries.set(text.split(/\s+/)[0].toUpperCase(), text.split(/\s+/).slice(1));
  }
  const names = entries.get('FIELDS') ?? [];
  const sizes = entries.get('SIZE') ?? [];
  const types = entries.get('TYPE') ?? [];
  const counts = entries.get('COUNT') ?? names.map(() => '1');
  if (names.length === 0 || sizes.length < names.length || types.length < names.length) {
    throw fail('FIELDS, SIZE and TYPE do not match.');
  }
  const fields: PlyProperty[] = [];
  names.forEach((name, i) => {
    const key = `${types[i].toUpperCase()}${sizes[i]}`;
    const count = Number(counts[i] ?? 1);
    if (!Object.hasOwn(TYPES, key) || !(Number.isInteger(count) && count >= 0 && count <= MOST_FIELDS)) {
      throw fail(`the field ${name} has an unknown type.`);
    }
    for (let k = 0; k < count; k++) {
      const alone = count === 1 && name !== '_';
      fields.push({ name: alone ? name : `${name}[${i}.${k}]`, type: TYPES[key], countType: null });
    }
  });
  if (fields.length > MOST_FIELDS) throw fail('a point has too many numbers.');
  const width = Number(entries.get('WIDTH')?.[0] ?? Number.NaN);
  const height = Number(entries.get('HEIGHT')?.[0] ?? 1);
  const pointCount = Number(entries.get('POINTS')?.[0] ?? width * height);
  if (!(Number.isInteger(pointCount) && pointCount >= 0 && pointCount < 0xffffffff)) throw fail('POINTS is no count.');
  const data = entries.get('DATA')?.[0]?.toLowerCase();
  if (data !== 'ascii' && data !== 'binary' && data !== 'binary_compressed') throw fail('DATA is of an unknown kind.');
  return { fields, pointCount, data, statedUnit };
}
