import { FormatError } from '../base/index.ts';
import { type LengthUnit, MM_PER_UNIT, type ProbedPoint } from '../model/index.ts';
import type { ByteSource } from './byte-source.ts';
import { readListTable } from './list-columns.ts';

/** Probed points in their file's unit. */
export interface RawProbedPoints {
  readonly name: string;
  readonly statedUnit: LengthUnit | null;
  readonly points: readonly {
    readonly feature: string;
    readonly position: readonly [number, number, number];
    /** Unit vector along which the tip moved towards the surface; null when the file gives none. */
    readonly approach: readonly [number, number, number] | null;
    /** Radius of the tip, in the file's unit; null when the file gives none. */
    readonly tipRadius: number | null;
    readonly sigma: number | null;
  }[];
}

/**
 * Reads probed points: lines `feature, x, y, z`, then perhaps the direction of approach `i, j, k`, `tip_radius` (or
 * `tip_diameter`) and `sigma`. The coordinates are those of the centre of the tip.
 *
 * Without a line of column names, 4 columns are feature and centre, 7 with the approach, 8 with the tip's radius,
 * 9 with sigma.
 *
 * @throws FormatError with the line
 */
export async function readProbedPoints(source: ByteSource): Promise<RawProbedPoints> {
  const table = await readListTable(source, ['feature', 'x', 'y', 'z', 'i', 'j', 'k', 'tip_radius', 'sigma']);
  const featureColumn = table.columns.find((column) => ['feature', 'name', 'element'].includes(column));
  const has = (column: string): boolean => table.columns.includes(column);
  const missing = ['x', 'y', 'z'].filter((column) => !has(column));
  if (featureColumn === undefined || missing.length > 0 || (has('i') && !(has('j') && has('k')))) {
    throw new FormatError(
      'list-columns-missing',
      `${source.name}: the columns ${table.columns.join(', ')} are not those of probed points.`,
      'Expected are feature, x, y, z and perhaps i, j, k, tip_radius, sigma.',
      { file: source.name },
    );
  }
  const points = table.rows.map((row) => {
    const fail = (message: string): FormatError =>
      new FormatError('list-probed-invalid', `${source.name}, line ${row.line}: ${message}`, 'Correct the line.', {
        file: source.name,
        line: row.line,
      });
    const [x, y, z] = ['x', 'y', 'z'].map((column) => row.number(column));
    if (x === null || y === null || z === null) throw fail('a coordinate is missing.');
    const [i, j, k] = ['i', 'j', 'k'].map((column) => row.number(column));
    let approach: [number, number, number] | null = null;
    if (i !== null && j !== null && k !== null) {
      const length = Math.hypot(i, j, k);
      if (Math.abs(length - 1) > 0.01) throw fail('the direction of approach must have length 1.');
      approach = [i / length, j / length, k / length];
    }
    const diameter = row.number('tip_diameter');
    const tipRadius = row.number('tip_radius') ?? (diameter === null ? null : diameter / 2);
    if (tipRadius !== null && !(tipRadius >= 0)) throw fail('the tip cannot have a negative radius.');
    const sigma = row.number('sigma');
    if (sigma !== null && !(sigma > 0)) throw fail('sigma must be greater than zero.');
    return { feature: row.text(featureColumn), position: [x, y, z] as const, approach, tipRadius, sigma };
  });
  if (points.length === 0) {
    throw new FormatError('list-empty', `${source.name} holds no points.`, 'Export the list again.', {
      file: source.name,
    });
  }
  return { name: source.name, statedUnit: table.statedUnit, points };
}

/**
 * Brings probed points to mm.
 *
 * @param fallback mm, for what the file does not give
 */
export function toProbedPoints(
  raw: RawProbedPoints,
  unit: LengthUnit,
  fallback: { readonly tipRadiusMm: number; readonly sigmaMm: number },
): ProbedPoint[] {
  const factor = MM_PER_UNIT[unit];
  return raw.points.map(({ feature, position, approach, tipRadius, sigma }) => ({
    feature,
    position: [factor * position[0], factor * position[1], factor * position[2]],
    approach,
    tipRadius: tipRadius === null ? fallback.tipRadiusMm : factor * tipRadius,
    sigma: sigma === null ? fallback.sigmaMm : factor * sigma,
  }));
}
