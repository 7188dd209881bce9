import type { PlyElement, PlyProperty, PlyType } from './ply-header.ts';

/** Where the numbers of a vertex go. */
export interface VertexColumn {
  /** Index of the property in the element. */
  readonly property: number;
  readonly type: PlyType;
  readonly target: Float32Array | Float64Array | Uint8Array;
  /** Numbers a vertex has in `target`, and which of them this column is. */
  readonly width: number;
  readonly place: number;
}

/** Columns of the vertex element and the arrays they fill. */
export interface VertexTable {
  readonly columns: readonly VertexColumn[];
  readonly capacity: number;
  readonly positions: Float32Array | Float64Array;
  readonly normals: Float32Array | null;
  /** Colours as the file gives them; `Uint8Array` when they need no scaling. */
  readonly colors: Uint8Array | Float32Array | null;
  readonly colorType: PlyType | null;
  readonly properties: Record<string, Float32Array>;
  /** Properties that were not asked for. */
  readonly ignored: readonly string[];
}

const NORMAL_NAMES: readonly (readonly string[])[] = [
  ['nx', 'ny', 'nz'],
  ['normal_x', 'normal_y', 'normal_z'],
];
const COLOR_NAMES: readonly (readonly string[])[] = [
  ['red', 'green', 'blue'],
  ['r', 'g', 'b'],
  ['diffuse_red', 'diffuse_green', 'diffuse_blue'],
];

/** Types whose values float32 cannot all hold. */
const WIDE_TYPES: ReadonlySet<PlyType> = new Set(['float64', 'int32', 'uint32']);

/**
 * Plans where each property of the vertex element goes and makes the arrays.
 *
 * @param capacity vertices the file can hold at most, already limited by the file's size
 * @param wide keep coordinates as float64 whatever the declared type (text may hold more digits than its type says)
 * @returns null when the element has no x, y, z
 */
export function planVertexTable(
  element: PlyElement,
  capacity: number,
  wide: boolean,
  wanted: readonly string[] | 'all',
): VertexTable | null {
  const scalars = new Map<string, number>();
  element.properties.forEach((property, index) => {
    if (!property.countType && !scalars.has(property.name)) scalars.set(property.name, index);
  });
  const find = (names: readonly string[]): PlyProperty[] | null =>
    names.every((name) => scalars.has(name))
      ? names.map((name) => element.properties[scalars.get(name) as number])
      : null;
  const place = find(['x', 'y', 'z']);
  if (!place) return null;
  const columns: VertexColumn[] = [];
  const add = (properties: readonly PlyProperty[], target: VertexColumn['target']): void => {
    properties.forEach((property, i) => {
      columns.push({
        property: scalars.get(property.name) as number,
        type: property.type,
        target,
        width: properties.length,
        place: i,
      });
      scalars.delete(property.name);
    });
  };
  const isWide = wide || place.some((property) => WIDE_TYPES.has(property.type));
  const positions = isWide ? new Float64Array(3 * capacity) : new Float32Array(3 * capacity);
  add(place, positions);
  const normalColumns = NORMAL_NAMES.map(find).find((found) => found !== null) ?? null;
  const normals = normalColumns && new Float32Array(3 * capacity);
  if (normalColumns && normals) add(normalColumns, normals);
  const colorColumns = COLOR_NAMES.map(find).find((found) => found !== null) ?? null;
  const oneType = colorColumns?.every((property) => property.type === colorColumns[0].type);
  const colorType = colorColumns && oneType ? colorColumns[0].type : null;
  const colors =
    colorColumns && (colorType === 'uint8' ? new Uint8Array(3 * capacity) : new Float32Array(3 * capacity));
  if (colorColumns && colors) add(colorColumns, colors);
  const properties: Record<string, Float32Array> = {};
  const ignored: string[] = [];
  for (const [name, index] of [...scalars]) {
    if (wanted === 'all' || wanted.includes(name)) {
      properties[name] = new Float32Array(capacity);
      add([element.properties[index]], properties[name]);
    } else {
      ignored.push(name);
    }
  }
  return { columns, capacity, positions, normals, colors, colorType, properties, ignored };
}

/** Copies one column of binary records into its array. One loop a type, so that each stays a plain load and store. */
export function copyBinaryColumn(
  column: VertexColumn,
  view: DataView,
  start: number,
  stride: number,
  count: number,
  littleEndian: boolean,
  firstVertex: number,
): void {
  const { target, width } = column;
  let out = firstVertex * width + column.place;
  let at = start;
  const stop = start + stride * count;
  switch (column.type) {
    case 'float32':
      for (; at < stop; at += stride, out += width) target[out] = view.getFloat32(at, littleEndian);
      break;
    case 'float64':
      for (; at < stop; at += stride, out += width) target[out] = view.getFloat64(at, littleEndian);
      break;
    case 'uint8':
      for (; at < stop; at += stride, out += width) target[out] = view.getUint8(at);
      break;
    case 'int8':
      for (; at < stop; at += stride, out += width) target[out] = view.getInt8(at);
      break;
    case 'uint16':
      for (; at < stop; at += stride, out += width) target[out] = view.getUint16(at, littleEndian);
      break;
    case 'int16':
      for (; at < stop; at += stride, out += width) target[out] = view.getInt16(at, littleEndian);
      break;
    case 'uint32':
      for (; at < stop; at += stride, out += width) target[out] = view.getUint32(at, littleEndian);
      break;
    case 'int32':
      for (; at < stop; at += stride, out += width) target[out] = view.getInt32(at, littleEndian);
      break;
  }
}
