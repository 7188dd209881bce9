import type { Pose, Vec3 } from '../math/index.ts';
import type { OverlapPatches } from '../model/index.ts';

/** A scan of an overlap, as far as its errors are concerned. Lengths mm. */
export interface ErrorScan {
  readonly id: string;
  /** Scans of one instrument have errors of one kind. */
  readonly instrument: string;
  /** Expected standard deviation of a point along its normal, all parts together. */
  readonly noise: number;
  /** Median distance to the nearest neighbour. */
  readonly spacing: number;
  /** Longest distance over which errors of this instrument hang together: what it sees at once. */
  readonly reach: number;
  /** Standard uncertainty of a length that the sheet states beside the part that grows with it: bends too long for any overlap to show. */
  readonly volumetric: number;
}

/** One overlap with the means of its patches. */
export interface PatchedOverlap {
  readonly tie: string;
  readonly scanA: ErrorScan;
  readonly scanB: ErrorScan;
  /** Relative pose at which it was measured. */
  readonly bFromA0: Pose;
  /** Point of frame B about which its Jacobians turn, mm. */
  readonly reference: Vec3;
  readonly patches: OverlapPatches;
  /** Correlation length that smoothing over neighbourhoods gives to what was independent from point to point, mm; 0: none. */
  readonly smoothing: number;
}

/**
 * Covariance of an overlap's patch means: nugget / weight on the diagonal, and fields between all patches. Variances mm^2.
 * The independent part of the points is the nugget and, where matches are smooth, the field of the smoothing's length.
 */
export interface OverlapErrors {
  /** What stays independent from match to match, and the share of it that comes from scan A. */
  readonly nugget: number;
  readonly nuggetShareOfA: number;
  readonly fields: readonly {
    readonly variance: number;
    readonly length: number;
    /** Share of the variance that comes from scan A, 0 to 1; the rest is B's. */
    readonly shareOfA: number;
  }[];
}
