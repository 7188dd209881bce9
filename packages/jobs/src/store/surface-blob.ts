import type { FusedSurface, ScanData } from '@lapjoint/engine';
import { type BlobArray, decodeArrayBlob, encodeArrayBlob, invalidBlob } from './array-blob.ts';

const KIND = 'surface-attributes';

/** What a fused surface says of each vertex, beside place, normal and colour. */
export interface SurfaceAttributes extends FusionAttributes {
  /** Stated uncertainty (k = 2, most uncertain direction), mm; null in jobs of early versions. */
  readonly expandedUncertainty: Float32Array | null;
}

type FusionAttributes = Pick<
  FusedSurface,
  | 'colored'
  | 'scanIds'
  | 'sourceOffsets'
  | 'sourceScans'
  | 'sourceShares'
  | 'dominantSource'
  | 'sigmaNoise'
  | 'sigmaAlignment'
>;

/** Points, normals, colours and triangles of a fused surface as a scan in the job's frame. */
export function surfaceAsScan(surface: FusedSurface): ScanData {
  const { origin, positions, normals, colors, triangles } = surface;
  return { origin, positions, normals, colors, triangles, viewpoint: null };
}

/** Bytes of the attributes, in pieces. */
export function encodeSurfaceAttributes(surface: SurfaceAttributes): Uint8Array[] {
  const { colored, sourceOffsets, sourceScans, sourceShares, dominantSource, sigmaNoise, sigmaAlignment } = surface;
  const { expandedUncertainty } = surface;
  return encodeArrayBlob({
    kind: KIND,
    meta: { scanIds: surface.scanIds },
    arrays: {
      sourceOffsets,
      sourceScans,
      sourceShares,
      dominantSource,
      sigmaNoise,
      sigmaAlignment,
      ...(colored === null ? {} : { colored }),
      ...(expandedUncertainty === null ? {} : { expandedUncertainty }),
    },
  });
}

/**
 * The attributes in bytes made by `encodeSurfaceAttributes`.
 *
 * @throws FormatError `blob-invalid`
 */
export function decodeSurfaceAttributes(bytes: Uint8Array): SurfaceAttributes {
  const { meta, arrays } = decodeArrayBlob(bytes, KIND);
  const needed = <T extends BlobArray>(name: string): T => {
    const array = arrays[name];
    if (array === undefined) throw invalidBlob(`it has no ${name}`, 0);
    return array as T;
  };
  return {
    scanIds: meta['scanIds'] as readonly string[],
    colored: (arrays['colored'] as Uint8Array | undefined) ?? null,
    sourceOffsets: needed('sourceOffsets'),
    sourceScans: needed('sourceScans'),
    sourceShares: needed('sourceShares'),
    dominantSource: needed('dominantSource'),
    sigmaNoise: needed('sigmaNoise'),
    sigmaAlignment: needed('sigmaAlignment'),
    expandedUncertainty: (arrays['expandedUncertainty'] as Float32Array | undefined) ?? null,
  };
}
