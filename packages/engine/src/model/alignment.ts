import type { Pose, Vec3 } from '../math/index.ts';
import type { TieResult } from './tie.ts';

/** `fixed`: its frame is the job's. `adjusted`: placed. `refused`: not placed, for the reason in `message`. */
export type FrameStatus = 'fixed' | 'adjusted' | 'refused';

/** Pose of one frame in the job. */
export interface FramePose {
  readonly frame: string;
  readonly jobFromFrame: Pose | null;
  /** 6 x 6 row-major, order tx ty tz rx ry rz (mm, rad), left perturbation in the job frame at `covarianceReference`; null when unknown. */
  readonly covariance: readonly number[] | null;
  /** Point of the job frame, mm, at which the covariance holds. */
  readonly covarianceReference: Vec3 | null;
  readonly status: FrameStatus;
  readonly message: string;
  readonly remedy: string;
  /** Other poses that fit nearly as well, best first; `margin` 0 = as good as the chosen, 1 = no rival. */
  readonly rivals: readonly { readonly jobFromFrame: Pose; readonly margin: number }[];
}

/** Sum of the relative poses around a loop of ties: zero for perfect ties. */
export interface LoopClosure {
  readonly frames: readonly string[];
  readonly translation: number;
  readonly angle: number;
}

/** Result of the adjustment of all frames. */
export interface AlignmentResult {
  readonly frames: readonly FramePose[];
  readonly ties: readonly TieResult[];
  readonly closures: readonly LoopClosure[];
  readonly varianceFactor: number | null;
  readonly redundancy: number;
  readonly iterations: number;
  readonly converged: boolean;
}
