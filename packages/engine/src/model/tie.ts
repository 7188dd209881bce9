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

/**
 * What the rest of the network says about a tie: its own answer against the answer without it.
 *
 * `agrees`; `stands-out`: this tie is the one that does not fit; `cannot-tell`: it does not fit, or one of `confusedWith` does,
 * and the network cannot tell which; `not-checked`: nothing else holds what it holds.
 */
export interface TieTest {
  readonly verdict: 'agrees' | 'stands-out' | 'cannot-tell' | 'not-checked';
  /** Squared length of the difference in units of its covariance. */
  readonly statistic: number;
  readonly degreesOfFreedom: number;
  /** Probability of a difference this large among all tests of the network when every tie is good (corrected for their number). */
  readonly probability: number;
  /** Ids of ties that explain the misfit as well. */
  readonly confusedWith: readonly string[];
  /** Smallest error of this tie that the test finds (80 %), as a shift of its largest arm, mm; null where not checked. */
  readonly detectable: number | null;
  /** What an error of that size would move a placed frame by at most, mm. */
  readonly effect: number | null;
}

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
  /** How many of its numbers the rest of the network checks; null when it was not adjusted. */
  readonly redundancy: number | null;
  readonly test: TieTest | null;
  readonly message: string;
}
