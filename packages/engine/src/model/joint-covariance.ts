import type { Vec3 } from '../math/index.ts';

/**
 * Covariance of all placed frames and scale terms together: what any point, distance or derived number needs.
 *
 * State    for each frame six numbers (tx ty tz rx ry rz: left motion in the job frame about its `reference`; mm, rad), in the
 *          order of `frames`, then one number for each scale term (relative length), in the order of `terms`.
 * Motion   a point of frame f at p (job frame) moves by t + r x (p - reference) - (sum of coefficient x value) (p - reference): a
 *          frame whose coordinates came out too long has its points too far out.
 */
export interface JointCovariance {
  readonly frames: readonly { readonly frame: string; readonly reference: Vec3 }[];
  readonly terms: readonly {
    readonly name: string;
    /** One for each frame, in the order of `frames`. */
    readonly coefficients: readonly number[];
  }[];
  /** n x n row-major with n = 6 frames + terms. */
  readonly matrix: Float64Array;
}

/**
 * How the errors of one instrument's points hang together, as found in the overlaps of a job: a part that is independent from
 * point to point and parts with a Gaussian correlation exp(-d^2 / length^2) over the surface.
 *
 * Units    mm. Mean over the candidates that the residuals left likely.
 */
export interface InstrumentErrors {
  /** Class or name under which scans were pooled. */
  readonly instrument: string;
  /** Standard deviation of the independent part of one sample. */
  readonly white: number;
  /** Correlated parts: standard deviation and correlation length. */
  readonly fields: readonly { readonly sigma: number; readonly length: number }[];
  /** Overlaps and patches that it was learned from; zero: taken from the sheet alone. */
  readonly overlapCount: number;
  readonly patchCount: number;
}
