import type { Vec3 } from '../math/index.ts';
import { type LengthUnit, MM_PER_UNIT, type ScanData } from '../model/index.ts';
import type { RawScan } from './raw-scan.ts';

/**
 * Brings a raw scan to mm: float32 coordinates relative to a float64 origin, the centre of its box.
 *
 * The unit's factor and the origin are applied in float64 before the result is rounded once to float32.
 *
 * @param raw keeps its positions, unless `useUp`; normals, colours and triangles are handed on, not copied
 * @param unit unit of the raw coordinates: stated by the file or by a person
 * @param options `useUp`: float32 positions are overwritten instead of copied, and `raw` is of no use afterwards; saves
 *   12 bytes a point
 */
export function toScanData(raw: RawScan, unit: LengthUnit, options: { readonly useUp?: boolean } = {}): ScanData {
  const factor = MM_PER_UNIT[unit];
  const { min, max } = raw.bounds;
  const origin: Vec3 = [
    (factor * (min[0] + max[0])) / 2,
    (factor * (min[1] + max[1])) / 2,
    (factor * (min[2] + max[2])) / 2,
  ];
  return {
    origin,
    positions: relativePositions(raw.positions, factor, origin, options.useUp ?? false),
    normals: raw.normals,
    colors: raw.colors,
    triangles: raw.triangles,
    viewpoint: raw.viewDirection && { kind: 'direction', direction: raw.viewDirection },
  };
}

function relativePositions(
  source: Float32Array | Float64Array,
  factor: number,
  origin: Vec3,
  useUp: boolean,
): Float32Array {
  const [x, y, z] = origin;
  const out = useUp && source instanceof Float32Array ? source : new Float32Array(source.length);
  for (let i = 0; i < out.length; i += 3) {
    out[i] = source[i] * factor - x;
    out[i + 1] = source[i + 1] * factor - y;
    out[i + 2] = source[i + 2] * factor - z;
  }
  return out;
}
