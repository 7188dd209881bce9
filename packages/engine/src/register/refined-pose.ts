import type { Pose, Vec3 } from '../math/index.ts';

/**
 * `converged`: all six directions held. `degenerate`: some are not held and were left as started. `insufficient-overlap`: no
 * pose is given beyond the start. `iteration-limit`: still moving.
 */
export type RefineStatus = 'converged' | 'degenerate' | 'insufficient-overlap' | 'iteration-limit';

/**
 * The quadratic form of an overlap's distances in a small motion of the target from source pose: left perturbation in the
 * target frame, order tx ty tz rx ry rz, mm and rad, about `reference`. Sum of squares at motion x: squares + 2 g.x + x.H x.
 */
export interface PoseInformation {
  /** H, 6 x 6 row-major. */
  readonly information: Float64Array;
  /** g. */
  readonly gradient: Float64Array;
  /** Weighted sum of squared distances, mm^2. */
  readonly squares: number;
  /** Sum of the weights: how many matches count. */
  readonly weightSum: number;
  /** Matches with any weight. */
  readonly count: number;
  /** Point of the target frame about which the motion turns, mm. */
  readonly reference: Vec3;
  /** Root mean square distance of the matches from the reference, mm. */
  readonly radius: number;
}

/** How far the fine alignment of two scans came, with its evidence. */
export interface RefinedPose {
  readonly status: RefineStatus;
  readonly targetFromSource: Pose;
  /** In words, target frame: what nothing holds. */
  readonly freeDirections: readonly string[];
  /** In words, target frame: what is held ten times worse than the best direction, or worse. */
  readonly weakDirections: readonly string[];
  /** Share of the source's points that lie on the target's surface, 0 to 1. */
  readonly overlapOfSource: number;
  /** Share of the target's points that lie on the source's surface, 0 to 1. */
  readonly overlapOfTarget: number;
  /** Robust root mean square distance of single points from the other surface, mm (1.4826 times the median). */
  readonly rms: number;
  /** What the scans' own noise alone would give for `rms`, mm. */
  readonly expectedRms: number;
  readonly iterations: number;
  readonly information: PoseInformation;
  readonly message: string;
  readonly remedy: string;
}
