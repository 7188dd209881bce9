import type { Pose, Vec3 } from '../math/index.ts';
import type { InstrumentErrors, JointCovariance } from './joint-covariance.ts';
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

/** A region of one scan that fits another rigid motion than the rest of its overlap: a part that stood elsewhere. Lengths mm. */
export interface MovedPartResult {
  readonly scanA: string;
  readonly scanB: string;
  /** Share of scan A, 0 to 1. */
  readonly share: number;
  /** Middle of the region where scan A had it, in the job. */
  readonly middle: Vec3;
  /** Left motion in the job that brings the part from where A had it to where B has it. */
  readonly motion: Pose;
  /** Angle (rad) and shift of the middle. */
  readonly angle: number;
  readonly shift: number;
  readonly freeDirections: readonly string[];
}

/** Test of the whole adjustment: weighted sum of squares against chi-square. */
export interface GlobalTest {
  readonly statistic: number;
  readonly degreesOfFreedom: number;
  /** Probability of a sum this large when all stated uncertainties are true. */
  readonly probability: number;
  /** Level of the test: it fails when the probability is lower. */
  readonly level: number;
}

/** How well the stated uncertainties of one kind of observation fit: factor 1 = as stated, 4 = errors twice as large. */
export interface VarianceComponent {
  /** In words: kind of tie and instrument. */
  readonly group: string;
  readonly factor: number;
  /** Standard uncertainty of the factor; null where the redundancy is too small to say. */
  readonly uncertainty: number | null;
  readonly redundancy: number;
  readonly observationCount: number;
}

/** What was found for a scale term: relative length by which the coordinates of its frames are too long. */
export interface ScaleResult {
  readonly name: string;
  /** Zero for a term that is not estimated. */
  readonly value: number;
  /** Standard uncertainty. */
  readonly sigma: number;
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
  /** Covariance of all frames together; null when nothing was adjusted, or when it is kept elsewhere (a job keeps it in a blob). */
  readonly jointCovariance: JointCovariance | null;
  /** null without redundancy. */
  readonly globalTest: GlobalTest | null;
  readonly varianceComponents: readonly VarianceComponent[];
  /** What the overlaps say about the instruments' errors. */
  readonly instrumentErrors: readonly InstrumentErrors[];
  readonly movedParts: readonly MovedPartResult[];
  /** Values of the scale terms; left out where there were none, and by early versions. */
  readonly scales?: readonly ScaleResult[];
}
