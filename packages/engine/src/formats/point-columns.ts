import { FormatError } from '../base/index.ts';
import type { LengthUnit } from '../model/index.ts';
import type { ReadFindings } from './raw-scan.ts';
import { lengthUnitFromWord } from './stated-unit.ts';
import type { TextLayout } from './text-table.ts';

/** Which columns hold what. */
export interface PointColumns {
  readonly positions: readonly number[];
  readonly normals: readonly number[] | null;
  readonly colors: readonly number[] | null;
}

/** A column's name without the unit behind it: `X [mm]`, `x_mm`, `X(mm)` are all x in mm. */
export function columnNameAndUnit(name: string): { readonly name: string; readonly unit: LengthUnit | null } {
  // No name of a column is longer; also bounds the search.
  if (name.length > 64) return { name: name.slice(0, 64).toLowerCase(), unit: null };
  const match = /^\s*([a-z][a-z0-9 _]*?)\s*(?:[_ ]|[_ ]*[[(]\s*)([a-z]+)\s*[\])]?\s*$/i.exec(name);
  const unit = match ? lengthUnitFromWord(match[2]) : null;
  if (match && unit) return { name: match[1].toLowerCase().trim(), unit };
  return { name: name.trim().toLowerCase(), unit: null };
}

const NORMAL_NAMES = [
  ['nx', 'ny', 'nz'],
  ['normal_x', 'normal_y', 'normal_z'],
];
const COLOR_NAMES = [
  ['r', 'g', 'b'],
  ['red', 'green', 'blue'],
];

/**
 * Finds out what the columns of a cloud mean: by their names where there are names, else by their values.
 *
 * Without names: x y z first; then three columns are normals when they have length 1, colours when they are whole
 * numbers from 0 to 255; a fourth column alone is passed over, and a first column that counts lines is a number.
 *
 * @param rows numbers of the first lines
 * @throws FormatError when the names hold no x, y and z
 */
export function assignPointColumns(
  layout: TextLayout,
  rows: readonly (readonly number[])[],
  file: string,
  findings: ReadFindings,
): { readonly columns: PointColumns; readonly unit: LengthUnit | null } {
  if (layout.columnNames) return assignByName(layout, layout.columnNames, file, findings);
  let first = 0;
  const counts = rows.length >= 3 && rows.every((row, i) => i === 0 || row[0] === rows[i - 1][0] + 1);
  if (layout.columnCount === 4 && counts && (rows[0][0] === 0 || rows[0][0] === 1)) {
    first = 1;
    findings.add(
      'warning',
      'text-columns-guessed',
      'The first of four columns counts the lines; it was taken as the points’ number and the others as x, y, z.',
      'Give the columns names in a first line to be sure.',
    );
  }
  const positions = [first, first + 1, first + 2];
  let normals: number[] | null = null;
  let colors: number[] | null = null;
  let next = first + 3;
  // One column of intensity may stand between coordinates and colours.
  if (layout.columnCount === 7 && isColor(rows, 4)) next = 4;
  for (; next + 3 <= layout.columnCount; next += 3) {
    const columns = [next, next + 1, next + 2];
    if (!normals && isNormal(rows, next)) normals = columns;
    else if (!colors && isColor(rows, next)) colors = columns;
    else break;
  }
  const used = new Set([...positions, ...(normals ?? []), ...(colors ?? [])]);
  const unused = layout.columnCount - used.size - first;
  if (unused > 0) {
    findings.add(
      'note',
      'scan-properties-ignored',
      `${unused} of ${layout.columnCount} columns without names are not used.`,
      'Give the columns names in a first line if they are normals or colours.',
    );
  }
  return { columns: { positions, normals, colors }, unit: null };
}

function assignByName(
  layout: TextLayout,
  columnNames: readonly string[],
  file: string,
  findings: ReadFindings,
): { readonly columns: PointColumns; readonly unit: LengthUnit | null } {
  const named = columnNames.map(columnNameAndUnit);
  const find = (names: readonly string[]): number[] | null => {
    const places = names.map((name) => named.findIndex((column) => column.name === name));
    return places.every((place) => place >= 0 && place < layout.columnCount) ? places : null;
  };
  const positions = find(['x', 'y', 'z']);
  if (!positions) {
    throw new FormatError(
      'text-columns-unknown',
      `${file}, line ${layout.linesBefore}: the columns ${columnNames.join(', ')} hold no x, y and z.`,
      'Name the coordinate columns x, y and z.',
      { file, line: Math.max(1, layout.linesBefore) },
    );
  }
  const units = new Set(positions.map((place) => named[place].unit));
  const normals = NORMAL_NAMES.map(find).find((found) => found !== null) ?? null;
  const colors = COLOR_NAMES.map(find).find((found) => found !== null) ?? null;
  const used = new Set([...positions, ...(normals ?? []), ...(colors ?? [])]);
  const ignored = columnNames.filter((_, place) => !used.has(place));
  if (ignored.length > 0) {
    findings.add('note', 'scan-properties-ignored', `Not used: the columns ${ignored.join(', ')}.`, 'Nothing to do.');
  }
  return { columns: { positions, normals, colors }, unit: units.size === 1 ? ([...units][0] ?? null) : null };
}

function isNormal(rows: readonly (readonly number[])[], first: number): boolean {
  return rows.every((row) => {
    const length = Math.hypot(row[first], row[first + 1], row[first + 2]);
    // Three printed decimals leave a thousandth; points without a normal have zeros.
    return Number.isNaN(length) || length === 0 || Math.abs(length - 1) < 0.01;
  });
}

function isColor(rows: readonly (readonly number[])[], first: number): boolean {
  return rows.every((row) =>
    [row[first], row[first + 1], row[first + 2]].every(
      (value) => Number.isInteger(value) && value >= 0 && value <= 255,
    ),
  );
}
