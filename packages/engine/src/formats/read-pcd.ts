import { FormatError, type RunContext } from '../base/index.ts';
import { asciiText, isNumberText, parseNumber } from './ascii.ts';
import type { ByteReader } from './byte-reader.ts';
import { scaleColors } from './color-scale.ts';
import { finishRawScan } from './finish-raw-scan.ts';
import { LineReader } from './line-reader.ts';
import { unpackLzf } from './lzf.ts';
import { type PcdHeader, readPcdHeader } from './pcd-header.ts';
import { PLY_TYPE_BYTES, type PlyElement } from './ply-header.ts';
import { copyBinaryColumn, planVertexTable, type VertexColumn, type VertexTable } from './ply-vertices.ts';
import type { RawScan, ReadFindings, ReadScanOptions } from './raw-scan.ts';

/** The most that LZF can pack into one byte: a reference of three bytes stands for 264. */
const BEST_PACKING = 90;

/**
 * Reads a PCD cloud: ascii, binary, binary_compressed. Colours packed into `rgb` or `rgba` are unpacked.
 *
 * Missing samples of organised clouds (NaN) are dropped and counted like all points that are not finite.
 *
 * @throws FormatError with line or byte offset
 */
export async function readPcd(
  reader: ByteReader,
  options: ReadScanOptions,
  findings: ReadFindings,
  context: RunContext,
): Promise<RawScan> {
  const lines = new LineReader(reader);
  const header = await readPcdHeader(lines);
  const element: PlyElement = { name: 'points', count: header.pointCount, properties: header.fields };
  const stride = header.fields.reduce((sum, field) => sum + PLY_TYPE_BYTES[field.type], 0);
  const packing = header.data === 'binary_compressed' ? BEST_PACKING : 1;
  const least = header.data === 'ascii' ? 2 * header.fields.length : stride;
  const capacity = Math.min(header.pointCount, Math.ceil((packing * (reader.bytesLeft + 1)) / Math.max(1, least)));
  const table = planVertexTable(element, capacity, header.data === 'ascii', options.properties ?? []);
  if (!table) {
    throw new FormatError('scan-without-points', `${reader.name} has no fields x, y and z.`, 'Export x, y and z.', {
      file: reader.name,
    });
  }
  const packed = header.fields.findIndex(({ name }) => name === 'rgb' || name === 'rgba');
  const packedColors = packed >= 0 ? new Uint8Array(3 * capacity) : null;
  const content: PcdContent = { header, table, packed, packedColors, stride, capacity };
  const done =
    header.data === 'ascii'
      ? await readAscii(lines, content, context)
      : header.data === 'binary'
        ? await readBinary(reader, content, context)
        : await readCompressed(reader, content);
  if (done < header.pointCount) {
    findings.add(
      'warning',
      'scan-truncated',
      `${reader.name} ends after ${done} of ${header.pointCount} points; these were loaded.`,
      'Copy or export the file again.',
    );
  }
  const shorten = <T extends Float32Array | Float64Array | Uint8Array>(values: T, width: number): T =>
    values.length === width * done ? values : (values.slice(0, width * done) as T);
  const ignored = table.ignored.filter((name) => name !== 'rgb' && name !== 'rgba');
  if (ignored.length > 0) {
    findings.add('note', 'scan-properties-ignored', `Not used: ${ignored.join(', ')} of each point.`, 'Nothing to do.');
  }
  const colors = packedColors
    ? shorten(packedColors, 3)
    : table.colors instanceof Uint8Array
      ? shorten(table.colors, 3)
      : table.colors && scaleColors(shorten(table.colors, 3), 'guess');
  const properties: Record<string, Float32Array> = {};
  for (const [name, values] of Object.entries(table.properties)) properties[name] = shorten(values, 1);
  return finishRawScan({
    name: reader.name,
    format: 'pcd',
    encoding:
      header.data === 'ascii' ? 'ascii' : header.data === 'binary' ? 'binary-little-endian' : 'binary-compressed',
    statedUnit: header.statedUnit,
    positions: shorten(table.positions, 3),
    normals: table.normals && shorten(table.normals, 3),
    colors,
    properties,
    pointsStated: header.pointCount,
    findings,
  });
}

interface PcdContent {
  readonly header: PcdHeader;
  readonly table: VertexTable;
  /** Field with a packed colour, or -1. */
  readonly packed: number;
  readonly packedColors: Uint8Array | null;
  readonly stride: number;
  readonly capacity: number;
}

/** Three columns that take red, green and blue out of a packed colour, with their byte in it. */
function packedColumns(content: PcdContent): { readonly column: VertexColumn; readonly byte: number }[] {
  const target = content.packedColors;
  if (!target) return [];
  return [2, 1, 0].map((byte, place) => ({
    column: { property: content.packed, type: 'uint8', target, width: 3, place },
    byte,
  }));
}

async function readBinary(reader: ByteReader, content: PcdContent, context: RunContext): Promise<number> {
  const { table, stride, capacity } = content;
  const offsets: number[] = [];
  let offset = 0;
  for (const field of content.header.fields) {
    offsets.push(offset);
    offset += PLY_TYPE_BYTES[field.type];
  }
  let done = 0;
  while (done < capacity) {
    const count = Math.min(capacity - done, Math.floor((await reader.fill(stride)) / stride));
    if (count === 0) break;
    for (const column of table.columns) {
      copyBinaryColumn(column, reader.view, offsets[column.property], stride, count, true, done);
    }
    for (const { column, byte } of packedColumns(content)) {
      copyBinaryColumn(column, reader.view, offsets[column.property] + byte, stride, count, true, done);
    }
    reader.start += count * stride;
    done += count;
    await context.checkpoint(reader.fraction);
  }
  return done;
}

async function readCompressed(reader: ByteReader, content: PcdContent): Promise<number> {
  const { header, table, stride } = content;
  const damaged = (): FormatError =>
    new FormatError(
      'pcd-compression-damaged',
      `${reader.name}: the compressed points cannot be unpacked.`,
      'The file is cut off or damaged; copy or export it again.',
      { file: reader.name, byteOffset: reader.position },
    );
  if ((await reader.fill(8)) < 8) throw damaged();
  const packedSize = reader.view.getUint32(reader.start, true);
  const size = reader.view.getUint32(reader.start + 4, true);
  reader.start += 8;
  if (packedSize > reader.bytesLeft || size !== stride * header.pointCount) throw damaged();
  if (size > BEST_PACKING * packedSize) throw damaged();
  await reader.fill(packedSize);
  const bytes = unpackLzf(reader.bytes.subarray(reader.start, reader.start + packedSize), size);
  if (!bytes) throw damaged();
  reader.start += packedSize;
  // Fields stand one after the other, each for all points.
  const view = new DataView(bytes.buffer);
  const offsets: number[] = [];
  let offset = 0;
  for (const field of header.fields) {
    offsets.push(offset);
    offset += PLY_TYPE_BYTES[field.type] * header.pointCount;
  }
  for (const column of table.columns) {
    const width = PLY_TYPE_BYTES[header.fields[column.property].type];
    copyBinaryColumn(column, view, offsets[column.property], width, header.pointCount, true, 0);
  }
  for (const { column, byte } of packedColumns(content)) {
    copyBinaryColumn(column, view, offsets[column.property] + byte, 4, header.pointCount, true, 0);
  }
  return header.pointCount;
}

async function readAscii(lines: LineReader, content: PcdContent, context: RunContext): Promise<number> {
  const { table, header, capacity } = content;
  const { name } = lines.reader;
  const word = (index: number): number => {
    const start = lines.wordStarts[index];
    const end = lines.wordEnds[index];
    const value = parseNumber(lines.bytes, start, end);
    if (Number.isNaN(value) && !isNumberText(lines.bytes, start, end)) {
      throw new FormatError(
        'pcd-number-expected',
        `${name}, line ${lines.line}: "${asciiText(lines.bytes, start, Math.min(end, start + 20))}" is no number.`,
        'The data are damaged, or the header says ascii where the data are binary.',
        { file: name, line: lines.line },
      );
    }
    return value;
  };
  const bits = new DataView(new ArrayBuffer(4));
  let done = 0;
  while (done < capacity) {
    if (!lines.next()) {
      if (await lines.more()) continue;
      break;
    }
    if (lines.split() === 0) continue;
    if (!lines.terminated && (done + 1 < header.pointCount || lines.wordCount < header.fields.length)) break;
    if (lines.wordCount < header.fields.length) {
      throw new FormatError(
        'pcd-record-length',
        `${name}, line ${lines.line}: ${header.fields.length} numbers are expected, the line has ${lines.wordCount}.`,
        'The header does not match the data, or the data are damaged.',
        { file: name, line: lines.line },
      );
    }
    for (const column of table.columns) {
      column.target[done * column.width + column.place] = word(column.property);
    }
    if (content.packedColors) {
      // A packed colour is a 32-bit pattern, printed as the float32 or the integer that has it.
      if (header.fields[content.packed].type === 'float32') bits.setFloat32(0, word(content.packed));
      else bits.setUint32(0, word(content.packed));
      for (let k = 0; k < 3; k++) content.packedColors[3 * done + k] = bits.getUint8(1 + k);
    }
    if (++done % 20_000 === 0) await context.checkpoint(lines.reader.fraction);
  }
  return done;
}
