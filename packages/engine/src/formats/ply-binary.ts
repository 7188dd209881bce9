import { FormatError, type RunContext } from '../base/index.ts';
import type { ByteReader } from './byte-reader.ts';
import type { FaceCollector } from './face-collector.ts';
import { PLY_TYPE_BYTES, type PlyElement, type PlyType } from './ply-header.ts';
import { copyBinaryColumn, type VertexTable } from './ply-vertices.ts';

/** A single list longer than this is damage, not data. */
const LONGEST_RECORD = 1 << 26;

function readInteger(view: DataView, at: number, type: PlyType, littleEndian: boolean): number {
  switch (type) {
    case 'uint8':
      return view.getUint8(at);
    case 'int8':
      return view.getInt8(at);
    case 'uint16':
      return view.getUint16(at, littleEndian);
    case 'int16':
      return view.getInt16(at, littleEndian);
    case 'uint32':
      return view.getUint32(at, littleEndian);
    case 'int32':
      return view.getInt32(at, littleEndian);
    case 'float32':
      return view.getFloat32(at, littleEndian);
    case 'float64':
      return view.getFloat64(at, littleEndian);
  }
}

/** Bytes of one record, when no property is a list; null otherwise. */
export function fixedStride(element: PlyElement): number | null {
  let stride = 0;
  for (const property of element.properties) {
    if (property.countType) return null;
    stride += PLY_TYPE_BYTES[property.type];
  }
  return stride;
}

/** Fewest bytes one record can take. */
export function leastRecordBytes(element: PlyElement): number {
  return element.properties.reduce((sum, property) => sum + PLY_TYPE_BYTES[property.countType ?? property.type], 0);
}

/** Walks over records with lists: where each property starts, how long the record is. */
class RecordCursor {
  readonly #element: PlyElement;
  readonly #littleEndian: boolean;
  readonly offsets: Float64Array;
  readonly counts: Float64Array;

  constructor(element: PlyElement, littleEndian: boolean) {
    this.#element = element;
    this.#littleEndian = littleEndian;
    this.offsets = new Float64Array(element.properties.length);
    this.counts = new Float64Array(element.properties.length);
  }

  /**
   * Measures the record at `at`.
   *
   * @returns its end, at most `end`, or minus the least number of bytes that the record is known to need
   */
  measure(view: DataView, at: number, end: number): number {
    const properties = this.#element.properties;
    let place = at;
    for (let i = 0; i < properties.length; i++) {
      const { type, countType } = properties[i];
      let bytes = PLY_TYPE_BYTES[type];
      if (countType) {
        const countBytes = PLY_TYPE_BYTES[countType];
        if (place + countBytes > end) return -(place + countBytes - at);
        const count = readInteger(view, place, countType, this.#littleEndian);
        place += countBytes;
        this.counts[i] = Math.max(0, count);
        bytes *= this.counts[i];
      }
      this.offsets[i] = place;
      place += bytes;
      if (place > end) return -(place - at);
    }
    return place;
  }
}

/** Reads until the record that needs `bytes` is in the buffer. @returns false when the source does not hold it */
async function fetchRecord(reader: ByteReader, bytes: number): Promise<boolean> {
  if (bytes > LONGEST_RECORD) {
    if (reader.size === null || bytes <= reader.bytesLeft) {
      throw new FormatError(
        'ply-list-too-long',
        `${reader.name}: a list at byte ${reader.position} is said to need ${bytes} bytes.`,
        'The file is damaged or its header does not match its data.',
        { file: reader.name, byteOffset: reader.position },
      );
    }
    return false;
  }
  return (await reader.fill(bytes)) >= bytes;
}

/** Reads the vertex element. @returns complete vertices read */
export async function readBinaryVertices(
  reader: ByteReader,
  element: PlyElement,
  table: VertexTable,
  littleEndian: boolean,
  context: RunContext,
): Promise<number> {
  const stride = fixedStride(element);
  if (stride === null) return readVerticesWithLists(reader, element, table, littleEndian, context);
  const offsets: number[] = [];
  let offset = 0;
  for (const property of element.properties) {
    offsets.push(offset);
    offset += PLY_TYPE_BYTES[property.type];
  }
  let done = 0;
  while (done < element.count) {
    const available = await reader.fill(stride);
    const count = Math.min(element.count - done, Math.floor(available / stride));
    if (count === 0) break;
    for (const column of table.columns) {
      copyBinaryColumn(column, reader.view, offsets[column.property], stride, count, littleEndian, done);
    }
    reader.start += count * stride;
    done += count;
    await context.checkpoint(reader.fraction);
  }
  return done;
}

async function readVerticesWithLists(
  reader: ByteReader,
  element: PlyElement,
  table: VertexTable,
  littleEndian: boolean,
  context: RunContext,
): Promise<number> {
  const cursor = new RecordCursor(element, littleEndian);
  let done = 0;
  while (done < element.count) {
    const next = cursor.measure(reader.view, reader.start, reader.end);
    if (next < 0) {
      if (!(await fetchRecord(reader, -next))) break;
      await context.checkpoint(reader.fraction);
      continue;
    }
    for (const column of table.columns) {
      copyBinaryColumn(column, reader.view, cursor.offsets[column.property], 1, 1, littleEndian, done);
    }
    reader.start = next;
    done++;
  }
  return done;
}

/** Reads faces (or strips of triangles, when `strips`). @returns complete records read */
export async function readBinaryFaces(
  reader: ByteReader,
  element: PlyElement,
  listIndex: number,
  strips: boolean,
  faces: FaceCollector,
  littleEndian: boolean,
  context: RunContext,
): Promise<number> {
  const cursor = new RecordCursor(element, littleEndian);
  const list = element.properties[listIndex];
  const indexBytes = PLY_TYPE_BYTES[list.type];
  let corners = new Uint32Array(64);
  // The usual record, a byte 3 and three 32-bit indices, perhaps with single numbers behind, needs no cursor.
  let tail = 0;
  for (const property of element.properties.slice(listIndex + 1)) tail += PLY_TYPE_BYTES[property.type];
  const usual =
    !strips &&
    listIndex === 0 &&
    list.countType === 'uint8' &&
    (list.type === 'int32' || list.type === 'uint32') &&
    element.properties.every((property, i) => i === 0 || !property.countType);
  const usualBytes = 13 + tail;
  let done = 0;
  while (done < element.count) {
    if (usual) {
      const most = Math.min(element.count - done, Math.floor((reader.end - reader.start) / usualBytes));
      const count = copyTriangles(reader, faces, most, usualBytes, littleEndian);
      done += count;
      if (done === element.count) break;
    }
    const next = cursor.measure(reader.view, reader.start, reader.end);
    if (next < 0) {
      if (!(await fetchRecord(reader, Math.max(-next, Math.min(reader.bytesLeft, usualBytes))))) {
        if (cursor.measure(reader.view, reader.start, reader.end) < 0) break;
      }
      await context.checkpoint(reader.fraction);
      continue;
    }
    const count = cursor.counts[listIndex];
    if (count > corners.length) corners = new Uint32Array(2 * count);
    const at = cursor.offsets[listIndex];
    for (let i = 0; i < count; i++) corners[i] = readInteger(reader.view, at + i * indexBytes, list.type, littleEndian);
    if (strips) addStrip(faces, corners, count);
    else faces.addFace(corners, count);
    reader.start = next;
    done++;
  }
  return done;
}

function copyTriangles(
  reader: ByteReader,
  faces: FaceCollector,
  most: number,
  recordBytes: number,
  littleEndian: boolean,
): number {
  const { bytes, view } = reader;
  let at = reader.start;
  if (!faces.isPlain) {
    let count = 0;
    for (; count < most && bytes[at] === 3; count++, at += recordBytes) {
      faces.addTriangle(
        view.getUint32(at + 1, littleEndian),
        view.getUint32(at + 5, littleEndian),
        view.getUint32(at + 9, littleEndian),
      );
    }
    reader.start = at;
    return count;
  }
  faces.triangles.reserve(3 * most);
  const out = faces.triangles.values;
  const first = faces.triangles.length;
  let place = first;
  const stop = first + 3 * most;
  for (; place < stop && bytes[at] === 3; place += 3, at += recordBytes) {
    out[place] = view.getUint32(at + 1, littleEndian);
    out[place + 1] = view.getUint32(at + 5, littleEndian);
    out[place + 2] = view.getUint32(at + 9, littleEndian);
  }
  faces.triangles.length = place;
  faces.faceCount += (place - first) / 3;
  reader.start = at;
  return (place - first) / 3;
}

/** Adds a strip of triangles; -1 begins a new strip, every second triangle turns its corners. */
export function addStrip(faces: FaceCollector, corners: ArrayLike<number>, count: number): void {
  let start = 0;
  for (let i = 0; i < count; i++) {
    if (corners[i] === 0xffffffff || corners[i] === -1) {
      start = i + 1;
    } else if (i >= start + 2) {
      if ((i - start) % 2 === 0) faces.addTriangle(corners[i - 2], corners[i - 1], corners[i]);
      else faces.addTriangle(corners[i - 1], corners[i - 2], corners[i]);
    }
  }
}

/** Reads the sampling grid: for each cell its vertex, or -1. @returns complete cells read */
export async function readBinaryGrid(
  reader: ByteReader,
  element: PlyElement,
  listIndex: number,
  cells: Int32Array,
  littleEndian: boolean,
  context: RunContext,
): Promise<number> {
  const cursor = new RecordCursor(element, littleEndian);
  const { type } = element.properties[listIndex];
  let done = 0;
  while (done < cells.length) {
    const next = cursor.measure(reader.view, reader.start, reader.end);
    if (next < 0) {
      if (!(await fetchRecord(reader, -next))) break;
      await context.checkpoint(reader.fraction);
      continue;
    }
    if (cursor.counts[listIndex] > 0) {
      cells[done] = readInteger(reader.view, cursor.offsets[listIndex], type, littleEndian);
    }
    reader.start = next;
    done++;
  }
  return done;
}

/** Passes over an element. @returns complete records passed */
export async function skipBinaryElement(
  reader: ByteReader,
  element: PlyElement,
  littleEndian: boolean,
  context: RunContext,
): Promise<number> {
  const stride = fixedStride(element);
  if (stride !== null) {
    if (stride === 0) return element.count;
    return Math.floor((await reader.skip(stride * element.count)) / stride);
  }
  const cursor = new RecordCursor(element, littleEndian);
  let done = 0;
  while (done < element.count) {
    const next = cursor.measure(reader.view, reader.start, reader.end);
    if (next < 0) {
      if (!(await fetchRecord(reader, -next))) break;
      await context.checkpoint(reader.fraction);
      continue;
    }
    reader.start = next;
    done++;
  }
  return done;
}
