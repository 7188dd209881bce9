import { FormatError, type ScanData, type Vec3, type Viewpoint } from '@lapjoint/engine';

/**
 * The bytes of a scan in a job, described in docs/formats/job-folder.md.
 *
 * Layout   8 bytes `LAPSCAN1`; length of the header text as uint32; header text (JSON, ASCII); zeros up to a multiple of
 *          16; then the arrays, each starting at a multiple of 16, little-endian, in the order positions (float32 xyz),
 *          normals (float32 xyz), colors (uint8 rgb), triangles (uint32). Equal scans give equal bytes.
 */
const MAGIC = 'LAPSCAN1';
const ALIGNMENT = 16;

interface ScanHeader {
  readonly pointCount: number;
  readonly triangleCount: number | null;
  readonly hasNormals: boolean;
  readonly hasColors: boolean;
  readonly origin: Vec3;
  readonly viewpoint: Viewpoint | null;
}

function padded(byteLength: number): number {
  return Math.ceil(byteLength / ALIGNMENT) * ALIGNMENT;
}

function bytesOf(array: ArrayBufferView): Uint8Array {
  return new Uint8Array(array.buffer, array.byteOffset, array.byteLength);
}

function assertLittleEndian(): void {
  if (new Uint8Array(new Uint16Array([1]).buffer)[0] !== 1) {
    throw new RangeError('Scan blobs are little-endian and so must the machine be.');
  }
}

/** Bytes of a scan in pieces, without copying its arrays. */
export function encodeScanBlob(scan: ScanData): Uint8Array[] {
  assertLittleEndian();
  const header: ScanHeader = {
    pointCount: scan.positions.length / 3,
    triangleCount: scan.triangles === null ? null : scan.triangles.length / 3,
    hasNormals: scan.normals !== null,
    hasColors: scan.colors !== null,
    origin: scan.origin,
    viewpoint: scan.viewpoint,
  };
  const text = new TextEncoder().encode(JSON.stringify(header));
  const start = new Uint8Array(padded(MAGIC.length + 4 + text.length));
  start.set(new TextEncoder().encode(MAGIC));
  new DataView(start.buffer).setUint32(MAGIC.length, text.length, true);
  start.set(text, MAGIC.length + 4);
  const chunks: Uint8Array[] = [start];
  for (const array of [scan.positions, scan.normals, scan.colors, scan.triangles]) {
    if (array === null) continue;
    chunks.push(bytesOf(array));
    const gap = padded(array.byteLength) - array.byteLength;
    if (gap > 0) chunks.push(new Uint8Array(gap));
  }
  return chunks;
}

function damaged(reason: string, byteOffset: number): FormatError {
  return new FormatError(
    'scan-blob-invalid',
    `A stored scan cannot be read: ${reason}.`,
    'Run verify; add the source file again.',
    { byteOffset },
  );
}

function readHeader(bytes: Uint8Array): { header: ScanHeader; end: number } {
  const ascii = (from: number, to: number): string => String.fromCharCode(...bytes.subarray(from, to));
  if (bytes.length < MAGIC.length + 4 || ascii(0, MAGIC.length) !== MAGIC) throw damaged('it is no scan', 0);
  const length = new DataView(bytes.buffer, bytes.byteOffset).getUint32(MAGIC.length, true);
  const end = MAGIC.length + 4 + length;
  if (length > 65536 || end > bytes.length) throw damaged('its header is cut off', MAGIC.length);
  try {
    return { header: JSON.parse(ascii(MAGIC.length + 4, end)) as ScanHeader, end: padded(end) };
  } catch {
    throw damaged('its header is no JSON', MAGIC.length + 4);
  }
}

/**
 * The scan in bytes made by `encodeScanBlob`. Its arrays are views of one new shared buffer, so that workers get them
 * without a copy.
 *
 * @throws FormatError `scan-blob-invalid`
 */
export function decodeScanBlob(bytes: Uint8Array): ScanData {
  assertLittleEndian();
  const { header, end } = readHeader(bytes);
  const { pointCount, triangleCount, hasNormals, hasColors } = header;
  let offset = 0;
  const place = (byteLength: number): number => {
    const at = offset;
    offset += padded(byteLength);
    return at;
  };
  const positionsAt = place(pointCount * 12);
  const normalsAt = hasNormals ? place(pointCount * 12) : -1;
  const colorsAt = hasColors ? place(pointCount * 3) : -1;
  const trianglesAt = triangleCount === null ? -1 : place(triangleCount * 12);
  if (!Number.isSafeInteger(pointCount) || pointCount < 0 || end + offset !== bytes.length) {
    throw damaged('its length does not fit its header', end);
  }
  const shared = new SharedArrayBuffer(offset);
  new Uint8Array(shared).set(bytes.subarray(end));
  return {
    origin: header.origin,
    positions: new Float32Array(shared, positionsAt, pointCount * 3) as unknown as Float32Array,
    normals: normalsAt < 0 ? null : (new Float32Array(shared, normalsAt, pointCount * 3) as unknown as Float32Array),
    colors: colorsAt < 0 ? null : (new Uint8Array(shared, colorsAt, pointCount * 3) as unknown as Uint8Array),
    triangles:
      triangleCount === null
        ? null
        : (new Uint32Array(shared, trianglesAt, triangleCount * 3) as unknown as Uint32Array),
    viewpoint: header.viewpoint,
  };
}
