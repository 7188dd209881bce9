import type { Pose, Vec3 } from '../math/index.ts';

/**
 * One measured target in one frame. The target itself is an unknown point of the job; every frame that saw it observes it.
 *
 * Units    mm, in the frame's own coordinates.
 */
export interface TargetObservation {
  readonly kind: 'target';
  /** Id of the tie (or target list) that this observation belongs to; residuals are gathered under it. */
  readonly tie: string;
  readonly frame: string;
  /** Name of the unknown point. Equal names are one point. */
  readonly target: string;
  readonly position: Vec3;
  /** 3 x 3 row-major, mm^2, in the frame's own axes. */
  readonly covariance: readonly number[];
}

/** Two picked points that are the same place: jobFromA a - jobFromB b is zero up to `sigma` in each coordinate. mm. */
export interface PairObservation {
  readonly kind: 'pair';
  readonly tie: string;
  readonly frameA: string;
  readonly frameB: string;
  readonly a: Vec3;
  readonly b: Vec3;
  /** Standard uncertainty of each coordinate of the difference, mm. */
  readonly sigma: number;
}

/**
 * What the overlap of two scans says about the pose between their frames: a quadratic form.
 *
 * With bFromA = perturb(bFromA0, m, reference), where m is a small left motion (tx ty tz rx ry rz; mm, rad), the
 * weighted sum of squared distances between the two surfaces, mm^2, is
 *
 *   S(m) = sumSquares + 2 gradient . m + m . information m
 *
 * so for residuals r_i with Jacobian rows J_i and weights w_i: information = sum w J^T J, gradient = sum w J^T r,
 * sumSquares = sum w r^2, count = sum w. All of these are bare geometry: not divided by a variance.
 *
 * A direction that the surfaces do not hold (sliding on a plane, turning in a cylinder) has to be taken out of
 * `information` and `gradient` by whoever measures them, so that noise in the normals does not hold it either.
 */
export interface OverlapObservation {
  readonly kind: 'overlap';
  readonly tie: string;
  readonly frameA: string;
  readonly frameB: string;
  /** Scans compared, for the report; null where the frame is meant. */
  readonly scanA: string | null;
  readonly scanB: string | null;
  /** Relative pose at which the form was measured. */
  readonly bFromA0: Pose;
  /** Point of frame B about which the motion turns, mm: best the centre of the overlap. */
  readonly reference: Vec3;
  /** 6 x 6 row-major. */
  readonly information: readonly number[];
  /** Six numbers. */
  readonly gradient: readonly number[];
  readonly sumSquares: number;
  /** Correspondences, or the sum of their weights. */
  readonly count: number;
  /** How many of them are independent of each other: neighbours share their instrument's slow errors. At most `count`. */
  readonly effectiveCount: number;
  /** Standard deviation of one distance, mm, as expected from both scans' noise; the larger of this and the rms found is used. */
  readonly sigma: number;
  /** Largest distance in the overlap, mm. */
  readonly largest: number;
  /** Share of the smaller scan that lies in the overlap, 0 to 1. */
  readonly overlapShare: number;
  /** In words: directions that this overlap does not hold. */
  readonly weakDirections: readonly string[];
  /** Weighed by a model of the instruments' errors; null: `effectiveCount` and `sigma` give the weight. */
  readonly weighed: WeighedOverlap | null;
}

/**
 * An overlap weighed by generalised least squares on the means of its patches: errors of neighbouring patches hang together.
 *
 * Motion    tx ty tz rx ry rz as in `OverlapObservation` and, seventh, the stretch of scan A against scan B about the
 *           reference (1 = 100 %): residuals change by J7 m with rows J7_i = [n_i, (p_i - reference) x n_i, n_i . (p_i - reference)].
 *           A frame that is stretched about another point c moves by a shift besides: n . (p - c) = n . (p - reference) + n . (reference - c).
 * Weight    information = J7^T C^-1 J7 and gradient = J7^T C^-1 r with C the covariance of the patch means, mm^2: the
 *           inverse of the first six rows and columns is the covariance of the overlap's own answer.
 */
export interface WeighedOverlap {
  /** 7 x 7 row-major. */
  readonly information: readonly number[];
  /** Seven numbers. */
  readonly gradient: readonly number[];
  /** r^T C^-1 r. */
  readonly sumSquares: number;
  readonly patchCount: number;
}

/** What is known of a frame's pose before, as a soft constraint: jobFromFrame = perturb(jobFromFrame0, m, reference), m ~ N(0, covariance). */
export interface PriorObservation {
  readonly kind: 'prior';
  readonly tie: string;
  readonly frame: string;
  readonly jobFromFrame0: Pose;
  /** Point of the job frame, mm. */
  readonly reference: Vec3;
  /** 6 x 6 row-major inverse covariance (1/mm^2, 1/(mm rad), 1/rad^2); zero rows where nothing is known. */
  readonly information: readonly number[];
}

/**
 * Two overlaps with a scan in common share that scan's errors: covariance of their first six gradient numbers (rows: of
 * `tieA`, columns: of `tieB`), 6 x 6 row-major, in the units of the gradients. Each unordered pair once; none: independent.
 * An overlap with itself: what the covariance of its gradient is more than its information.
 */
export interface OverlapCorrelation {
  readonly tieA: string;
  readonly tieB: string;
  readonly gradientCovariance: readonly number[];
}

/**
 * An error of length that no residual need show: a frame's coordinates are (1 + sum over terms of coefficient x value) times
 * the true ones, about the centre of the frame. `value` has mean zero and standard uncertainty `sigma`.
 * One instrument's scale: one term with coefficient 1 for each of its frames. One material's expansion coefficient: one term
 * with the frames' offsets from 20 degrees Celsius as coefficients.
 */
export interface ScaleTerm {
  readonly name: string;
  readonly sigma: number;
  readonly coefficients: ReadonlyMap<string, number>;
  /** True: the value is an unknown of the adjustment, held by `sigma`. False: not estimated, but counted in every covariance (GUM type B). */
  readonly isEstimated: boolean;
}

/** What ties frames to each other, or a frame to the job. */
export type NetworkObservation = TargetObservation | PairObservation | OverlapObservation | PriorObservation;

/** Length between two named points: a scale bar, a taped or a tracked distance. mm; not changed by any frame's scale. */
export interface DistanceObservation {
  readonly kind: 'distance';
  readonly tie: string;
  /** Names of points; a target of the same name is the same point. */
  readonly pointA: string;
  readonly pointB: string;
  readonly distance: number;
  readonly sigma: number;
}

/** From one named point to another, in the axes of the job: a levelled height difference, a measured vector. mm. */
export interface DifferenceObservation {
  readonly kind: 'difference';
  readonly tie: string;
  readonly pointA: string;
  readonly pointB: string;
  /** B minus A. */
  readonly vector: Vec3;
  /** 3 x 3 row-major inverse covariance, 1/mm^2; zero rows where nothing was measured (levelling: only the last number). */
  readonly information: readonly number[];
}

/** What is known of a named point's place in the job before: a control point, a shared reference. mm. */
export interface KnownPointObservation {
  readonly kind: 'known-point';
  readonly tie: string;
  readonly point: string;
  readonly position: Vec3;
  /** 3 x 3 row-major inverse covariance, 1/mm^2, zero rows where nothing is known; `fixed`: the point does not move at all. */
  readonly information: readonly number[] | 'fixed';
}

/** A probed point, corrected for the tip radius, that lies on the surface of another frame near `surfacePoint`. mm. */
export interface ProbeObservation {
  readonly kind: 'probe';
  readonly tie: string;
  /** Frame of the probed point. */
  readonly frameA: string;
  readonly point: Vec3;
  /** Frame of the surface, with the point of the surface that is nearest and its unit normal there. */
  readonly frameB: string;
  readonly surfacePoint: Vec3;
  readonly normal: Vec3;
  /** Standard uncertainty of the distance along the normal: probe and surface together. */
  readonly sigma: number;
}

/** A fitted feature in a frame's own coordinates, mm. Axes and planes go on for ever; directions are unit vectors. */
export interface FrameFeature {
  readonly frame: string;
  readonly shape: 'point' | 'axis' | 'plane';
  readonly point: Vec3;
  /** Along the axis, or the plane's normal; its sign does not matter. Not used for points. */
  readonly direction: Vec3;
}

/** What two features of different frames are known to be to each other. */
export interface RelationObservation {
  readonly kind: 'relation';
  readonly tie: string;
  /** `symmetric`: b is the mirror image of a in `plane`. `parallel`, `perpendicular`: of axes and planes, wherever they lie. */
  readonly relation: 'coincident' | 'parallel' | 'perpendicular' | 'symmetric';
  readonly a: FrameFeature;
  readonly b: FrameFeature;
  /** Plane of symmetry, in any frame; null for the other relations. */
  readonly plane: FrameFeature | null;
  /** Standard uncertainty of each offset, mm. */
  readonly sigma: number;
  /** Standard uncertainty of each angle, rad. */
  readonly angleSigma: number;
}

/** Everything an adjustment can be made of. */
export type AdjustableObservation =
  | NetworkObservation
  | DistanceObservation
  | DifferenceObservation
  | KnownPointObservation
  | ProbeObservation
  | RelationObservation;
