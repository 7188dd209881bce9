import type { ScanData } from '@lapjoint/engine';

/** Below this a copy is cheaper than a shared buffer of its own. */
const SHARE_FROM_BYTES = 65536;

type TypedArray =
  | Float32Array
  | Float64Array
  | Int32Array
  | Uint32Array
  | Uint16Array
  | Int16Array
  | Uint8Array
  | Int8Array;

/** The same numbers in a buffer that workers see without a copy. Already shared ones are returned as they are. */
export function shareArray<T extends TypedArray>(array: T): T {
  if (array.buffer instanceof SharedArrayBuffer) return array;
  const shared = new SharedArrayBuffer(array.byteLength);
  new Uint8Array(shared).set(new Uint8Array(array.buffer, array.byteOffset, array.byteLength));
  const arrayType = array.constructor as new (buffer: SharedArrayBuffer) => T;
  return new arrayType(shared);
}

/** A scan whose arrays workers see without a copy. */
export function shareScanData(scan: ScanData): ScanData {
  return {
    ...scan,
    positions: shareArray(scan.positions),
    normals: scan.normals === null ? null : shareArray(scan.normals),
    colors: scan.colors === null ? null : shareArray(scan.colors),
    triangles: scan.triangles === null ? null : shareArray(scan.triangles),
  };
}

/**
 * Copies a value made of plain objects and arrays, with every large typed array in it moved to a shared buffer. Used on
 * what a task returns: handed on to further tasks, it is not copied again.
 */
export function shareLargeArrays(value: unknown): unknown {
  if (ArrayBuffer.isView(value)) {
    return value.byteLength < SHARE_FROM_BYTES || value instanceof DataView ? value : shareArray(value as TypedArray);
  }
  if (Array.isArray(value)) return value.map(shareLargeArrays);
  if (value !== null && typeof value === 'object' && Object.getPrototypeOf(value) === Object.prototype) {
    return Object.fromEntries(Object.entries(value).map(([key, item]) => [key, shareLargeArrays(item)]));
  }
  return value;
}
