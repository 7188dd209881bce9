import type { Vec3 } from '../math/index.ts';

/**
 * A pair of points that are the same place, each in its own frame, mm.
 * `sigma` is the standard uncertainty of each coordinate of the difference.
 */
export interface PointPair {
  readonly a: Vec3;
  readonly b: Vec3;
  readonly sigma: number;
}

/**
 * What links two frames (or more). Stored in the job; the adjustment turns ties into observations.
 *
 * `picked`: rough pairs picked by a person. `targets`: common targets of two target lists, by list ids.
 * `overlap`: two scans that show the same surface; found by `align`. Sessions that share a frame need no tie.
 */
export type Tie =
  | {
      readonly kind: 'picked';
      readonly id: string;
      readonly frameA: string;
      readonly frameB: string;
      readonly pairs: readonly PointPair[];
    }
  | {
      readonly kind: 'targets';
      readonly id: string;
      readonly frameA: string;
      readonly frameB: string;
      readonly names: readonly (readonly [string, string])[];
    }
  | {
      readonly kind: 'overlap';
      readonly id: string;
      readonly frameA: string;
      readonly frameB: string;
      readonly scanA: string;
      readonly scanB: string;
    };

/** How a tie did in the adjustment. Lengths mm. */
export interface TieResult {
  readonly id: string;
  readonly kind: Tie['kind'];
  readonly frameA: string;
  readonly frameB: string;
  readonly scanA: string | null;
  readonly scanB: string | null;
  /** `used`, or why not. */
  readonly status: 'used' | 'rejected' | 'not-needed';
  /** Correspondences or pairs used. */
  readonly count: number;
  /** Root mean square residual, mm. */
  readonly rms: number;
  /** Largest residual, mm. */
  readonly largest: number;
  /** For overlaps: share of the smaller scan that lies in the overlap, 0 to 1. */
  readonly overlapShare: number | null;
  /** In words: directions that this tie alone does not hold. Empty when it holds all six. */
  readonly weakDirections: readonly string[];
  readonly message: string;
}
