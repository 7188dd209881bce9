import { FormatError, type JsonValue } from '@lapjoint/engine';

/**
 * Bytes of a few named arrays with a header, described in docs/formats/job-folder.md.
 *
 * Layout   8 bytes `LAPBLOB1`; length of the header text as uint32; header text (JSON, ASCII); zeros up to a multiple of
 *          16; then the arrays in the order of the header, each starting at a multiple of 16, little-endian. Equal
 *          content gives equal bytes.
 */
const MAGIC = 'LAPBLOB1';
const ALIGNMENT = 16;
const LONGEST_HEADER = 1 << 20;

const ARRAY_TYPES = {
  float32: Float32Array,
  float64: Float64Array,
  uint32: Uint32Array,
  uint16: Uint16Array,
  uint8: Uint8Array,
} as const;
type ArrayType = keyof typeof ARRAY_TYPES;

/** Arrays that a blob can hold. */
export type BlobArray = Float32Array | Float64Array | Uint32Array | Uint16Array | Uint8Array;

/** Named arrays with what is to be known about them. */
export interface ArrayBlob {
  readonly kind: string;
  readonly meta: Readonly<Record<string, JsonValue>>;
  readonly arrays: Readonly<Record<string, BlobArray>>;
}

interface Header {
  readonly kind: string;
  readonly meta: Readonly<Record<string, JsonValue>>;
  readonly arrays: readonly { readonly name: string; readonly type: ArrayType; readonly length: number }[];
}

function padded(byteLength: number): number {
  return Math.ceil(byteLength / ALIGNMENT) * ALIGNMENT;
}

function assertLittleEndian(): void {
  if (new Uint8Array(new Uint16Array([1]).buffer)[0] !== 1) {
    throw new RangeError('Blobs are little-endian and so must the machine be.');
  }
}

function typeOf(array: BlobArray): ArrayType {
  for (const [name, type] of Object.entries(ARRAY_TYPES)) if (array instanceof type) return name as ArrayType;
  throw new TypeError('A blob cannot hold this kind of array.');
}

/** Bytes in pieces, without copying the arrays. */
export function encodeArrayBlob({ kind, meta, arrays }: ArrayBlob): Uint8Array[] {
  assertLittleEndian();
  const entries = Object.entries(arrays);
  const header: Header = {
    kind,
    meta,
    arrays: entries.map(([name, array]) => ({ name, type: typeOf(array), length: array.length })),
  };
  const ascii = JSON.stringify(header).replace(
    /[\u0080-\uffff]/g,
    (character) => `\\u${character.charCodeAt(0).toString(16).padStart(4, '0')}`,
  );
  const text = new TextEncoder().encode(ascii);
  const start = new Uint8Array(padded(MAGIC.length + 4 + text.length));
  start.set(new TextEncoder().encode(MAGIC));
  new DataView(start.buffer).setUint32(MAGIC.length, text.length, true);
  start.set(text, MAGIC.length + 4);
  const chunks: Uint8Array[] = [start];
  for (const [, array] of entries) {
    chunks.push(new Uint8Array(array.buffer, array.byteOffset, array.byteLength));
    const gap = padded(array.byteLength) - array.byteLength;
    if (gap > 0) chunks.push(new Uint8Array(gap));
  }
  return chunks;
}

/** What cannot be read, and where. */
export function invalidBlob(reason: string, byteOffset: number): FormatError {
  return new FormatError(
    'blob-invalid',
    `A stored file of the job cannot be read: ${reason}.`,
    'Run verify; add the source file again.',
    { byteOffset },
  );
}

function readHeader(bytes: Uint8Array): { header: Header; end: number } {
  const ascii = (from: number, to: number): string => Buffer.from(bytes.subarray(from, to)).toString('latin1');
  if (bytes.length < MAGIC.length + 4 || ascii(0, MAGIC.length) !== MAGIC) throw invalidBlob('it is no blob', 0);
  const length = new DataView(bytes.buffer, bytes.byteOffset).getUint32(MAGIC.length, true);
  const end = MAGIC.length + 4 + length;
  if (length > LONGEST_HEADER || end > bytes.length) throw invalidBlob('its header is cut off', MAGIC.length);
  try {
    return { header: JSON.parse(ascii(MAGIC.length + 4, end)) as Header, end: padded(end) };
  } catch {
    throw invalidBlob('its header is no JSON', MAGIC.length + 4);
  }
}

/**
 * The arrays in bytes made by `encodeArrayBlob`: views of one new shared buffer, so that workers get them without a
 * copy.
 *
 * @param kind what the blob must hold
 * @throws FormatError `blob-invalid`
 */
export function decodeArrayBlob(bytes: Uint8Array, kind: string): ArrayBlob {
  assertLittleEndian();
  const { header, end } = readHeader(bytes);
  if (header.kind !== kind) throw invalidBlob(`it holds ${header.kind}, not ${kind}`, MAGIC.length + 4);
  let total = 0;
  for (const { type, length } of header.arrays) {
    if (!(type in ARRAY_TYPES) || !Number.isSafeInteger(length) || length < 0) {
      throw invalidBlob('its header names an impossible array', MAGIC.length + 4);
    }
    total += padded(length * ARRAY_TYPES[type].BYTES_PER_ELEMENT);
  }
  if (end + total !== bytes.length) throw invalidBlob('its length does not fit its header', end);
  const shared = new SharedArrayBuffer(total);
  new Uint8Array(shared).set(bytes.subarray(end));
  const arrays: Record<string, BlobArray> = {};
  let offset = 0;
  for (const { name, type, length } of header.arrays) {
    arrays[name] = new (ARRAY_TYPES[type] as unknown as new (...place: unknown[]) => BlobArray)(shared, offset, length);
    offset += padded(length * ARRAY_TYPES[type].BYTES_PER_ELEMENT);
  }
  return { kind: header.kind, meta: header.meta, arrays };
}
