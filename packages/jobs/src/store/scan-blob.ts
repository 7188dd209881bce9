import type { JsonValue, ScanData, Vec3, Viewpoint } from '@lapjoint/engine';
import { type BlobArray, decodeArrayBlob, encodeArrayBlob, invalidBlob } from './array-blob.ts';

const KIND = 'scan';

/** Bytes of a scan in pieces, without copying its arrays. */
export function encodeScanBlob(scan: ScanData): Uint8Array[] {
  const { positions, normals, colors, triangles } = scan;
  return encodeArrayBlob({
    kind: KIND,
    meta: { origin: scan.origin, viewpoint: scan.viewpoint as unknown as JsonValue },
    arrays: {
      positions,
      ...(normals === null ? {} : { normals }),
      ...(colors === null ? {} : { colors }),
      ...(triangles === null ? {} : { triangles }),
    },
  });
}

function arrayOf<T extends BlobArray>(
  arrays: Readonly<Record<string, BlobArray>>,
  name: string,
  type: new (...items: never[]) => T,
  length: number | null,
): T | null {
  const array = arrays[name];
  if (array === undefined) return null;
  if (!(array instanceof type) || (length === null ? array.length % 3 !== 0 : array.length !== length)) {
    throw invalidBlob(`its ${name} do not fit its points`, 0);
  }
  return array;
}

/**
 * The scan in bytes made by `encodeScanBlob`. Its arrays are views of one new shared buffer, so that workers get them
 * without a copy.
 *
 * @throws FormatError `blob-invalid`
 */
export function decodeScanBlob(bytes: Uint8Array): ScanData {
  const { meta, arrays } = decodeArrayBlob(bytes, KIND);
  const positions = arrayOf(arrays, 'positions', Float32Array, null);
  if (positions === null) throw invalidBlob('it has no points', 0);
  return {
    origin: meta['origin'] as unknown as Vec3,
    positions,
    normals: arrayOf(arrays, 'normals', Float32Array, positions.length),
    colors: arrayOf(arrays, 'colors', Uint8Array, positions.length),
    triangles: arrayOf(arrays, 'triangles', Uint32Array, null),
    viewpoint: meta['viewpoint'] as unknown as Viewpoint | null,
  };
}
