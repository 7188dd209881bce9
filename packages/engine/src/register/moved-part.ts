import type { Pose, Vec3 } from '../math/index.ts';

/** Part of two scans' overlap that lies on the other scan, but under another pose than the rest. */
export interface MovedPart {
  /** Points of the prepared scan `a`, ascending. */
  readonly points: Uint32Array;
  /** Points of the prepared scan `b`, ascending. */
  readonly pointsOfB: Uint32Array;
  /** Share of `points` in all points of `a`, 0 to 1. */
  readonly share: number;
  /** Middle of the part in the frame of `b`, where `a` had it, mm. */
  readonly middle: Vec3;
  /** Pose under which the part fits. */
  readonly bFromA: Pose;
  /** Angle, rad, and shift of the middle, mm, from where the rest puts it. */
  readonly angle: number;
  readonly shift: number;
  /** Distance of single points under the part's own pose, mm. */
  readonly rms: number;
  /** In words: directions in which the part's own pose is not held. */
  readonly freeDirections: readonly string[];
}

/** How moved parts are sought. */
export interface FindMovedPartsOptions {
  /** Samples of each scan. */
  readonly sampleCount: number;
  /** Farthest that a part may have moved, mm; 0: a tenth of the smaller scan's radius. */
  readonly maxShift: number;
  /** Smallest share of the points of a scan that counts as a part. */
  readonly minimumShare: number;
  /** Most parts of one overlap; beyond, the overlap is no rigid body with parts that moved. */
  readonly mostParts: number;
  /** Points known to have moved: the rest is judged without them, they are looked at again. */
  readonly exclude: { readonly a: Uint32Array; readonly b: Uint32Array } | null;
}
