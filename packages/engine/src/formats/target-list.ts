import { FormatError, type RunContext } from '../base/index.ts';
import { type LengthUnit, MM_PER_UNIT, type Target } from '../model/index.ts';
import { type ByteSink, ByteWriter, type WriteSummary } from './byte-sink.ts';
import type { ByteSource } from './byte-source.ts';
import { lengthText, numberText } from './decimal-text.ts';
import { readListTable } from './list-columns.ts';

/** A target list in its file's unit. */
export interface RawTargetList {
  readonly name: string;
  readonly statedUnit: LengthUnit | null;
  readonly targets: readonly { readonly name: string; readonly position: readonly [number, number, number] }[];
  /** Standard uncertainty of each target's coordinates, in the file's unit; null where the file gives none. */
  readonly sigmas: readonly (number | null)[];
}

/**
 * Reads a target list: lines `name, x, y, z` and perhaps `sigma`, with or without a line of column names.
 *
 * Units    the file's; stated by names such as `x_mm` or `X [mm]`, or by a comment `# unit: mm`.
 *
 * @throws FormatError with the line: a line without numbers, a name twice, a negative sigma, no targets
 */
export async function readTargetList(source: ByteSource): Promise<RawTargetList> {
  const table = await readListTable(source, ['name', 'x', 'y', 'z', 'sigma']);
  const nameColumn = table.columns.find((column) => ['name', 'target', 'id', 'point'].includes(column));
  const missing = ['x', 'y', 'z'].filter((column) => !table.columns.includes(column));
  if (nameColumn === undefined || missing.length > 0) {
    throw new FormatError(
      'list-columns-missing',
      `${source.name}: the columns ${table.columns.join(', ')} lack ${[...(nameColumn ? [] : ['name']), ...missing].join(', ')}.`,
      'A target list has the columns name, x, y, z and perhaps sigma.',
      { file: source.name },
    );
  }
  const seen = new Map<string, number>();
  const targets = table.rows.map((row) => {
    const fail = (code: string, message: string): FormatError =>
      new FormatError(code, `${source.name}, line ${row.line}: ${message}`, 'Correct the line.', {
        file: source.name,
        line: row.line,
      });
    const name = row.text(nameColumn);
    if (name === '') throw fail('list-name-missing', 'the target has no name.');
    if (seen.has(name)) throw fail('list-name-twice', `the name ${name} stands in line ${seen.get(name)} already.`);
    seen.set(name, row.line);
    const [x, y, z] = ['x', 'y', 'z'].map((column) => row.number(column));
    if (x === null || y === null || z === null) throw fail('list-number-expected', 'a coordinate is missing.');
    const sigma = row.number('sigma');
    if (sigma !== null && !(sigma > 0)) throw fail('list-sigma-invalid', 'sigma must be greater than zero.');
    return { target: { name, position: [x, y, z] as const }, sigma };
  });
  if (targets.length === 0) {
    throw new FormatError('list-empty', `${source.name} holds no targets.`, 'Export the list again.', {
      file: source.name,
    });
  }
  return {
    name: source.name,
    statedUnit: table.statedUnit,
    targets: targets.map(({ target }) => target),
    sigmas: targets.map(({ sigma }) => sigma),
  };
}

/**
 * Brings a target list to mm.
 *
 * @param unit stated by the file or by a person
 * @param sigmaMm standard uncertainty of each coordinate, mm, for targets whose file gives none
 */
export function toTargets(raw: RawTargetList, unit: LengthUnit, sigmaMm: number): Target[] {
  const factor = MM_PER_UNIT[unit];
  return raw.targets.map(({ name, position }, i) => {
    const sigma = raw.sigmas[i];
    return {
      name,
      position: [factor * position[0], factor * position[1], factor * position[2]],
      sigma: sigma === null ? sigmaMm : factor * sigma,
    };
  });
}

/** Writes a target list as CSV in mm: `name,x_mm,y_mm,z_mm,sigma_mm`. */
export async function writeTargetList(
  targets: readonly Target[],
  sink: ByteSink,
  context: RunContext,
): Promise<WriteSummary> {
  const writer = new ByteWriter(sink);
  await writer.text('name,x_mm,y_mm,z_mm,sigma_mm\n');
  for (const { name, position, sigma } of targets) {
    const coordinates = position.map(lengthText).join(',');
    await writer.text(`${quoted(name)},${coordinates},${numberText(sigma, 9)}\n`);
  }
  await writer.flush();
  await context.checkpoint(1);
  return { byteCount: writer.byteCount, rounding: 5e-7 };
}

/** A field of a CSV, in quotes where it needs them (RFC 4180). */
function quoted(field: string): string {
  const line = field.replace(/[\r\n]+/g, ' ');
  return /[",;\t#%/]|^\s|\s$/.test(line) ? `"${line.replaceAll('"', '""')}"` : line;
}
