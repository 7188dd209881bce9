import { FormatError, type RunContext } from '../base/index.ts';
import type { ByteReader } from './byte-reader.ts';
import { scaleColors } from './color-scale.ts';
import { FaceCollector } from './face-collector.ts';
import { finishRawScan } from './finish-raw-scan.ts';
import { LineReader } from './line-reader.ts';
import { readAsciiFaces, readAsciiGrid, readAsciiVertices, skipAsciiElement } from './ply-ascii.ts';
import {
  leastRecordBytes,
  readBinaryFaces,
  readBinaryGrid,
  readBinaryVertices,
  skipBinaryElement,
} from './ply-binary.ts';
import { type PlyElement, type PlyHeader, readPlyHeader } from './ply-header.ts';
import { planVertexTable, type VertexTable } from './ply-vertices.ts';
import { triangulateRangeGrid } from './range-grid.ts';
import { countOf, type RawScan, type ReadFindings, type ReadScanOptions } from './raw-scan.ts';

/** Names of the list of corners in face elements in the wild. */
const CORNER_LISTS: ReadonlySet<string> = new Set(['vertex_indices', 'vertex_index', 'vertex_indexes']);

/** Everything that a pass over the elements gathers. */
interface PlyContent {
  table: VertexTable | null;
  vertexCount: number;
  vertexStated: number;
  faces: FaceCollector | null;
  facesStated: number | null;
  grid: Int32Array | null;
  /** What is missing, in words. */
  missing: string[];
}

/**
 * Reads a PLY file: ascii and both binary orders, any elements, any order and type of properties.
 *
 * Units    the file's own. `comment unit: mm` (or cm, m, in, ft, um) states it.
 * Method   [Turk94]; scans with an element `range_grid` are cut into triangles along their sampling grid.
 * Limits   a file that ends early gives what is complete, with a warning; a file without any complete vertex is refused.
 *
 * @throws FormatError with line or byte offset
 */
export async function readPly(
  reader: ByteReader,
  options: ReadScanOptions,
  findings: ReadFindings,
  context: RunContext,
): Promise<RawScan> {
  const lines = new LineReader(reader);
  const header = await readPlyHeader(lines);
  if (header.encoding !== 'ascii') await refuseTextBody(reader);
  const content: PlyContent = {
    table: null,
    vertexCount: 0,
    vertexStated: 0,
    faces: null,
    facesStated: null,
    grid: null,
    missing: [],
  };
  for (const element of header.elements) {
    const done = await readElement(element, header, reader, lines, options, content, context);
    if (done < element.count) {
      content.missing.push(`${element.count - done} of ${element.count} records of "${element.name}"`);
    }
  }
  if (!content.table) {
    throw new FormatError(
      'scan-without-points',
      `${reader.name} holds no element "vertex" with x, y and z.`,
      'Export the scan as points or as a mesh.',
      { file: reader.name },
    );
  }
  const fits = await reportEnds(header, reader, lines, content, findings);
  const doubtful = !fits || (content.faces?.shortFaceCount ?? 0) > 0;
  if (doubtful && header.encoding !== 'ascii') refuseBorrowedBytes(reader.name, content);
  return assemble(header, reader, content, content.table, findings);
}

async function readElement(
  element: PlyElement,
  header: PlyHeader,
  reader: ByteReader,
  lines: LineReader,
  options: ReadScanOptions,
  content: PlyContent,
  context: RunContext,
): Promise<number> {
  const ascii = header.encoding === 'ascii';
  const littleEndian = header.encoding === 'binary-little-endian';
  // A word and its separator take two bytes, so that a stated count can be held against the bytes that are there.
  const leastBytes = ascii ? 2 * Math.max(1, element.properties.length) : Math.max(1, leastRecordBytes(element));
  const capacity = Math.min(element.count, Math.ceil((reader.bytesLeft + 1) / leastBytes));
  if (element.name === 'vertex' && !content.table) {
    const table = planVertexTable(element, capacity, ascii, options.properties ?? []);
    if (table) {
      content.table = table;
      content.vertexStated = element.count;
      const bounded = { ...element, count: capacity };
      content.vertexCount = ascii
        ? await readAsciiVertices(lines, bounded, table, context)
        : await readBinaryVertices(reader, bounded, table, littleEndian, context);
      return content.vertexCount;
    }
  }
  const listIndex = element.properties.findIndex((property) => property.countType && CORNER_LISTS.has(property.name));
  const strips = element.name === 'tristrips';
  if ((element.name === 'face' || strips) && listIndex >= 0) {
    content.faces ??= new FaceCollector(capacity);
    if (!strips) content.facesStated = (content.facesStated ?? 0) + element.count;
    return ascii
      ? readAsciiFaces(lines, element, listIndex, strips, content.faces, context)
      : readBinaryFaces(reader, element, listIndex, strips, content.faces, littleEndian, context);
  }
  if (element.name === 'range_grid' && listIndex >= 0) {
    const cells = new Int32Array(Math.min(element.count, reader.bytesLeft + 1)).fill(-1);
    content.grid = cells;
    return ascii
      ? readAsciiGrid(lines, element, listIndex, cells, context)
      : readBinaryGrid(reader, element, listIndex, cells, littleEndian, context);
  }
  return ascii ? skipAsciiElement(lines, element) : skipBinaryElement(reader, element, littleEndian, context);
}

/** A binary body that consists of numbers written as text is a wrong header, and would give wild coordinates. */
async function refuseTextBody(reader: ByteReader): Promise<void> {
  await reader.fill();
  const stop = Math.min(reader.end, reader.start + 400);
  if (stop - reader.start < 12) return;
  for (let i = reader.start; i < stop; i++) {
    if (!'0123456789+-.eE \t\r\nnaifNAIF'.includes(String.fromCharCode(reader.bytes[i]))) return;
  }
  throw new FormatError(
    'ply-text-as-binary',
    `${reader.name}: the header says binary, but the data from byte ${reader.position} on are text.`,
    'Write "format ascii 1.0" into the header, or export again.',
    { file: reader.name, byteOffset: reader.position },
  );
}

/**
 * A header that counts too many vertices makes vertices of the faces' bytes. Read as floating-point numbers, small
 * whole numbers lie below everything that a coordinate can be, so such points give themselves away.
 */
function refuseBorrowedBytes(name: string, content: PlyContent): void {
  if (!content.table || content.facesStated === null) return;
  const { positions } = content.table;
  const least = positions instanceof Float32Array ? 2 ** -126 : 2 ** -960;
  for (let i = 0; i < 3 * content.vertexCount; i++) {
    const size = Math.abs(positions[i]);
    if (size === 0 || size >= least || Number.isNaN(size)) continue;
    throw new FormatError(
      'ply-counts-wrong',
      `${name}: the header counts ${content.vertexStated} vertices, but from vertex ${Math.floor(i / 3)} on the data are none.`,
      'The counts in the header are wrong; export the file again.',
      { file: name },
    );
  }
}

/** Says what is missing or left over. @returns whether header and data fit each other */
async function reportEnds(
  header: PlyHeader,
  reader: ByteReader,
  lines: LineReader,
  content: PlyContent,
  findings: ReadFindings,
): Promise<boolean> {
  if (content.missing.length > 0) {
    findings.add(
      'warning',
      'scan-truncated',
      `${reader.name} ends early: missing are ${content.missing.join(' and ')}. What is complete was loaded.`,
      'Copy or export the file again. If the header counts more vertices than there are, the last points may be wrong.',
    );
    return false;
  }
  let extra = 0;
  if (header.encoding === 'ascii') {
    for (;;) {
      if (lines.next()) extra += lines.split() > 0 ? 1 : 0;
      else if (!(await lines.more())) break;
    }
  } else {
    extra = await reader.skip(Number.MAX_SAFE_INTEGER);
  }
  if (extra > 0) {
    findings.add(
      'warning',
      'scan-data-left-over',
      `${reader.name}: ${countOf(extra, header.encoding === 'ascii' ? 'line' : 'byte')} after everything that the header counts.`,
      'If the header counts less than the file holds, points are missing; export again.',
    );
  }
  return extra === 0;
}

function assemble(
  header: PlyHeader,
  reader: ByteReader,
  content: PlyContent,
  table: VertexTable,
  findings: ReadFindings,
): RawScan {
  const count = content.vertexCount;
  const shorten = <T extends Float32Array | Float64Array | Uint8Array>(values: T, width: number): T =>
    values.length === width * count ? values : (values.slice(0, width * count) as T);
  const positions = shorten(table.positions, 3);
  const normals = table.normals && shorten(table.normals, 3);
  let colors: Uint8Array | null = null;
  if (table.colors instanceof Uint8Array) {
    colors = shorten(table.colors, 3);
  } else if (table.colors) {
    const scale =
      table.colorType === 'uint16'
        ? 'word'
        : table.colorType === 'int8' || table.colorType === 'int16'
          ? 'byte'
          : 'guess';
    colors = scaleColors(shorten(table.colors, 3), scale);
  }
  const properties: Record<string, Float32Array> = {};
  for (const [name, values] of Object.entries(table.properties)) properties[name] = shorten(values, 1);
  if (table.ignored.length > 0) {
    findings.add(
      'note',
      'scan-properties-ignored',
      `Not used: ${table.ignored.join(', ')} of each point.`,
      'Nothing to do; positions, normals and colours are used.',
    );
  }
  const grid =
    content.grid && !content.faces
      ? triangulateRangeGrid(content.grid, header.info, positions, normals, findings)
      : null;
  return finishRawScan({
    name: reader.name,
    format: 'ply',
    encoding: header.encoding,
    statedUnit: header.statedUnit,
    positions,
    normals,
    colors,
    properties,
    faces: grid?.faces ?? content.faces,
    viewDirection: grid?.viewDirection ?? null,
    pointsStated: content.vertexStated,
    facesStated: content.facesStated,
    findings,
  });
}
