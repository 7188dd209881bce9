import {
  AppError,
  covarianceWithKnownTerms,
  distanceUncertainty,
  type InstrumentErrors,
  type JobDocument,
  type JointCovariance,
  pointUncertainty,
  symmetricEigen,
  type Vec3,
} from '@lapjoint/engine';
import { type JobStoreOptions, openJob } from '../store/job-store.ts';
import { differenceErrorVariance, pointErrorsOf, pointErrorVariance } from './instrument-part.ts';
import { jointCovarianceOf } from './joint-covariance-of.ts';
import { type NearestScan, nearestScans, usualNearness } from './nearest-scan.ts';
import { resultsUpToDate } from './result-record.ts';
import { frameOfName } from './tie-job.ts';

/** A place whose uncertainty is asked for. */
export interface AskedPoint {
  /** Job frame, mm. */
  readonly point: Vec3;
  /** Scan, session or frame that it belongs to; null: that of the nearest scan point. */
  readonly of: string | null;
}

/** What is asked. */
export interface UncertaintyQuestion {
  readonly at: AskedPoint;
  /** Other end of a distance, or null. */
  readonly to: AskedPoint | null;
  /** Farthest that a scan may be from a place to count as its own, mm; null: a hundredth of the largest scan. */
  readonly within: number | null;
}

/** Shares of an uncertainty, each as if it were alone: expanded, k = 2, mm. Their squares add up along one direction. */
export interface UncertaintyParts {
  /** What the ties between frames leave open. */
  readonly ties: number;
  /** Instrument scale, temperature and coefficient of expansion. */
  readonly scale: number;
  /** Errors of the points themselves; null where neither overlaps nor a sheet say anything: not counted then. */
  readonly instrument: number | null;
}

/** Uncertainty of one place. Lengths mm, job frame. */
export interface StatedPoint {
  readonly point: Vec3;
  readonly frame: string;
  /** The scan that showed to which frame it belongs; null where the frame was stated and has no scan. */
  readonly nearest: NearestScan | null;
  /** Expanded, k = 2, most uncertain direction. */
  readonly expanded: number;
  /** Of the ellipsoid at k = 2, longest first. */
  readonly semiAxes: readonly { readonly length: number; readonly direction: Vec3 }[];
  /** 3 x 3 row-major, mm^2. */
  readonly covariance: readonly number[];
  readonly parts: UncertaintyParts;
}

/** Uncertainty of a distance, mm; expanded: k = 2. */
export interface StatedDistance {
  readonly distance: number;
  readonly standard: number;
  readonly expanded: number;
  readonly parts: UncertaintyParts;
}

/** The answer. */
export interface StatedUncertainty {
  readonly upToDate: boolean;
  /** Distance within which scans counted as near, mm. */
  readonly within: number;
  readonly points: readonly StatedPoint[];
  readonly distance: StatedDistance | null;
}

interface SettledPoint {
  readonly point: Vec3;
  readonly frame: string;
  readonly nearest: NearestScan | null;
  readonly errors: InstrumentErrors | null;
}

const COVERAGE = 2;

/**
 * Uncertainty of a place of a job, or of the distance between two, correlations kept.
 *
 * Frames   places in the job's frame, mm.
 * Method   law of propagation from the joint covariance of all frames and scale terms; the errors of the points themselves
 *          as the overlaps of the job showed them, else from the sheet of the instrument. A place belongs to the frame of
 *          the nearest scan point.
 * Assumes  a place to be a single scan point: a fitted feature averages its points and is better than this.
 *
 * @throws AppError `point-without-scan` when no scan is near, `frame-refused` for a frame that has no pose, `unknown-name`,
 *         and those of `jointCovarianceOf` and of opening the job
 */
export async function uncertaintyOfJob(
  folder: string,
  question: UncertaintyQuestion,
  storage?: JobStoreOptions,
): Promise<StatedUncertainty> {
  const store = await openJob(folder, storage);
  const joint = await jointCovarianceOf(store);
  const within = question.within ?? usualNearness(store.document);
  const asked = question.to === null ? [question.at] : [question.at, question.to];
  const wanted = asked.map(({ point, of }) => ({ point, frame: of === null ? null : frameOfName(store.document, of) }));
  const nearest = await nearestScans(store, wanted);
  const settled = wanted.map((item, i) => settle(store.document, joint, item, nearest[i] ?? null, within));
  const known = covarianceWithKnownTerms(joint);
  const [first, second] = settled;
  return {
    upToDate: resultsUpToDate(store.document).alignment,
    within,
    points: settled.map((item) => statePoint(item, joint, known)),
    distance: first === undefined || second === undefined ? null : stateDistance(first, second, joint, known),
  };
}

function settle(
  document: JobDocument,
  joint: JointCovariance,
  { point, frame }: { readonly point: Vec3; readonly frame: string | null },
  nearest: NearestScan | null,
  within: number,
): SettledPoint {
  if (frame === null && (nearest === null || nearest.distance > within)) {
    throw new AppError(
      'point-without-scan',
      `No scan is near (${point.join(', ')}) mm: ` +
        (nearest === null
          ? 'none is placed.'
          : `the nearest point, of ${nearest.scan.name}, is ${nearest.distance.toPrecision(3)} mm away, and ${within.toPrecision(3)} mm counts as near.`),
      'Give a place on the captured surface in the frame of the job, say with --frame whose point it is, or allow more with --within.',
    );
  }
  const own = frame ?? (nearest?.scan.frame as string);
  if (!joint.frames.some((item) => item.frame === own)) {
    const pose = document.alignment?.result.frames.find((item) => item.frame === own);
    throw new AppError(
      'frame-refused',
      `Frame ${own} has no pose in this job, so its points have no uncertainty. ${pose?.message ?? ''}`.trimEnd(),
      pose?.remedy || 'Add ties that hold it, and align again.',
    );
  }
  const errors = nearest === null ? null : pointErrorsOf(document, nearest.scan);
  return { point, frame: own, nearest, errors };
}

function isotropic(variance: number): number[] {
  return [variance, 0, 0, 0, variance, 0, 0, 0, variance];
}

/** Largest semi-axis at k = 2 of a covariance. */
function largest(covariance: readonly number[]): number {
  return COVERAGE * Math.sqrt(Math.max(0, symmetricEigen(covariance, 3).values[2] as number));
}

function statePoint(settled: SettledPoint, joint: JointCovariance, known: JointCovariance): StatedPoint {
  const { point, frame, nearest, errors } = settled;
  const own = errors === null ? null : pointErrorVariance(errors);
  const total = pointUncertainty(joint, frame, point, { own: isotropic(own ?? 0) });
  const placed = pointUncertainty(joint, frame, point);
  const ties = pointUncertainty(known, frame, point);
  if (total === null || placed === null || ties === null) throw new TypeError(`${frame} is not in the covariance.`);
  const scale = placed.covariance.map((value, k) => value - (ties.covariance[k] as number));
  return {
    point,
    frame,
    nearest,
    expanded: total.largestSemiAxis,
    semiAxes: total.semiAxes,
    covariance: total.covariance,
    parts: {
      ties: ties.largestSemiAxis,
      scale: largest(scale),
      instrument: own === null ? null : COVERAGE * Math.sqrt(own),
    },
  };
}

/** Variance that the points' own errors add to the distance: those of one scan share the slow ones. */
function ownVariance(a: SettledPoint, b: SettledPoint, distance: number): number | null {
  if (a.errors === null || b.errors === null) return null;
  if (a.nearest?.scan.id === b.nearest?.scan.id) return differenceErrorVariance(a.errors, distance);
  return pointErrorVariance(a.errors) + pointErrorVariance(b.errors);
}

function stateDistance(
  a: SettledPoint,
  b: SettledPoint,
  joint: JointCovariance,
  known: JointCovariance,
): StatedDistance {
  const placed = distanceUncertainty(joint, a, b);
  const ties = distanceUncertainty(known, a, b);
  if (placed === null || ties === null) throw new TypeError('A frame is not in the covariance.');
  const own = ownVariance(a, b, placed.distance);
  const standard = Math.sqrt(placed.standard ** 2 + (own ?? 0));
  return {
    distance: placed.distance,
    standard,
    expanded: COVERAGE * standard,
    parts: {
      ties: ties.expanded,
      scale: COVERAGE * Math.sqrt(Math.max(0, placed.standard ** 2 - ties.standard ** 2)),
      instrument: own === null ? null : COVERAGE * Math.sqrt(own),
    },
  };
}
