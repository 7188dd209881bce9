import type { Vec3 } from '../math/index.ts';

/** Length units a file may use. Inside the program everything is mm. */
export type LengthUnit = 'mm' | 'cm' | 'm' | 'in' | 'ft' | 'um';

/** Millimetres in one unit (inch and foot: exact by definition, 1959). */
export const MM_PER_UNIT: Readonly<Record<LengthUnit, number>> = {
  mm: 1,
  cm: 10,
  m: 1000,
  in: 25.4,
  ft: 304.8,
  um: 0.001,
};

/**
 * Where the instrument stood, as far as it is known, in the scan's frame, mm.
 *
 * `position`: one standpoint. `direction`: unit vector from the object towards a far instrument.
 */
export type Viewpoint =
  | { readonly kind: 'position'; readonly position: Vec3 }
  | { readonly kind: 'direction'; readonly direction: Vec3 };

/**
 * Points of one scan, with triangles when it is a mesh, in the scan's own frame.
 *
 * Units    mm. True coordinate of point i = origin + positions[3i..3i+2], the sum taken in float64.
 * Layout   structure of arrays; xyz and rgb interleaved; colours sRGB, 8 bit a channel.
 * Owner    whoever receives it never writes it.
 */
export interface ScanData {
  readonly origin: Vec3;
  readonly positions: Float32Array;
  readonly normals: Float32Array | null;
  readonly colors: Uint8Array | null;
  /** Three vertex indices a triangle, counter-clockwise seen from outside; null for a cloud. */
  readonly triangles: Uint32Array | null;
  readonly viewpoint: Viewpoint | null;
}

/** Axis-parallel box, mm. */
export interface Bounds {
  readonly min: Vec3;
  readonly max: Vec3;
}

/** One named measured target (marker) of a target list, in its session's frame, mm. */
export interface Target {
  readonly name: string;
  readonly position: Vec3;
  /** Standard uncertainty of each coordinate, mm. */
  readonly sigma: number;
}

/** One point touched by a probe: centre of the tip, approach direction if known, mm. */
export interface ProbedPoint {
  readonly feature: string;
  readonly position: Vec3;
  readonly approach: Vec3 | null;
  readonly tipRadius: number;
  readonly sigma: number;
}
