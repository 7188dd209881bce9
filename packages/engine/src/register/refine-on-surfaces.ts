import type { RunContext } from '../base/index.ts';
import { compose, invert, type Pose, subtract, transformPoint, vectorOfQuaternion } from '../math/index.ts';
import {
  motionSize,
  movePose,
  type QuadraticForm,
  solveHeldMotion,
  sumObservations,
  weighRobustly,
} from './motion-step.ts';
import type { PreparedScan } from './prepared-scan.ts';
import type { RefineStatus } from './refined-pose.ts';
import { motionOf } from './rigid-motion.ts';
import { MAD_FACTOR, medianInPlace } from './robust-scale.ts';
import {
  makeSurfaceObservations,
  matchSurfaces,
  normalNoiseOf,
  observeSurfaces,
  type SurfaceMatches,
  type SurfaceObservations,
  smoothSampleOf,
} from './surface-matching.ts';

/** Matches without which no pose is worth naming: six unknowns, each with ten. */
export const MINIMUM_MATCHES = 60;
/** Rounds of new matches between surfaces, with a part of the samples and with all; two or three and one are usual. */
const MAX_SURFACE_ROUNDS = { part: 25, all: 6 } as const;
/** Steps on fixed surfaces; the form is near quadratic, four are usual. */
const MAX_INNER_STEPS = 10;
/**
 * Part of the pose's standard deviation below which a round of new matches changes nothing that matters; a motion below a
 * thousandth of the spacing does not either, because the fitted surfaces hold over several spacings.
 */
const SETTLED = 0.1;

/** Fine alignment of two scans in canonical order: pose of `b` in `a`, between stored coordinates. */
export interface OrderedResult {
  readonly status: RefineStatus;
  readonly started: boolean;
  readonly pose: Pose;
  readonly form: QuadraticForm;
  readonly matchCount: number;
  readonly normalNoise: number;
  readonly overlapOfA: number;
  readonly overlapOfB: number;
  readonly rms: number;
  readonly iterations: number;
}

/** What the last step ended with: whether new matches still moved the pose, and how many directions nothing holds. */
interface SurfaceResult extends OrderedResult {
  readonly freeCount: number;
  readonly settled: boolean;
}

/** How `refineOnSurfaces` works; see `RefinePoseOptions`. */
interface RefineOnSurfacesOptions {
  readonly fineSamples: number;
  readonly neighbourCount: number;
}

/**
 * Brings two scans that lie within some spacings of each other to the least distance between their smooth surfaces.
 *
 * Method   Gauss-Newton on the distances between local surfaces fixed at the last pose, Tukey weights; new surfaces until the
 *          pose stays within a part of its standard deviation, with a part of the samples first, then with all.
 *
 * @param start between stored coordinates
 * @param gate points farther from the other scan have no partner, mm
 * @param noise of the difference of two points, mm
 * @param roundsBefore counted on
 */
export async function refineOnSurfaces(
  a: PreparedScan,
  b: PreparedScan,
  start: Pose,
  gate: number,
  settings: RefineOnSurfacesOptions,
  noise: number,
  roundsBefore: number,
  context: RunContext,
): Promise<SurfaceResult> {
  const spacing = Math.min(a.spacing, b.spacing);
  let pose = start;
  let iterations = roundsBefore;
  let isNearlySettled = false;
  let last: SurfaceRound | null = null;
  // A part of the samples until the matches stay, then all of them once.
  for (const level of ['part', 'all'] as const) {
    const count = level === 'part' ? Math.ceil(settings.fineSamples / 6) : settings.fineSamples;
    const smoothA = smoothSampleOf(a, count, settings.neighbourCount);
    const smoothB = smoothSampleOf(b, count, settings.neighbourCount);
    const observations = makeSurfaceObservations(smoothA, smoothB);
    let settled = false;
    for (let round = 0; round < MAX_SURFACE_ROUNDS[level] && !settled; round++) {
      await context.checkpoint(level === 'part' ? round / 50 : 0.6 + round / 15, 'aligning surfaces');
      const matches = matchSurfaces(a, b, smoothA, smoothB, motionOf(pose), motionOf(invert(pose)), gate);
      last = solveOnSurfaces(matches, pose, observations, noise);
      iterations++;
      if (observations.count < MINIMUM_MATCHES) break;
      const change = differenceOf(pose, last.pose, last.form);
      pose = last.pose;
      // Settled when new matches move the pose by a small part of its own standard deviation.
      const significance = significanceOf(change, last);
      const isTiny = !(motionSize(change, last.form.radius) > 1e-3 * spacing);
      settled = isTiny || !(significance > (level === 'part' ? 0.3 : SETTLED));
      isNearlySettled = settled || !(significance > 1);
    }
  }
  if (last === null) throw new Error('There is at least one round.');
  const { observations, matches } = last;
  let inlierB = 0;
  let inlierA = 0;
  let matchCount = 0;
  const absolute = new Float64Array(observations.count);
  for (let i = 0; i < observations.count; i++) {
    if (!(observations.weights[i] > 0)) continue;
    absolute[matchCount++] = Math.abs(observations.raw[i]);
    if (i < observations.fromB) inlierB++;
    else inlierA++;
  }
  return {
    status: 'converged',
    started: false,
    pose,
    form: last.form,
    matchCount,
    normalNoise: last.normalNoise,
    overlapOfA: matches.a.count > 0 ? inlierA / matches.a.count : 0,
    overlapOfB: matches.b.count > 0 ? inlierB / matches.b.count : 0,
    rms: MAD_FACTOR * medianInPlace(absolute, matchCount),
    iterations,
    freeCount: last.freeCount,
    settled: isNearlySettled,
  };
}

/** One round on fixed surfaces. */
interface SurfaceRound {
  readonly matches: SurfaceMatches;
  readonly observations: SurfaceObservations;
  readonly pose: Pose;
  readonly form: QuadraticForm;
  readonly freeCount: number;
  readonly scale: number;
  readonly normalNoise: number;
}

/** Moves the pose until the distances between the matched surfaces are least; no new matches. */
function solveOnSurfaces(
  matches: SurfaceMatches,
  start: Pose,
  observations: SurfaceObservations,
  noise: number,
): SurfaceRound {
  let pose = start;
  for (let inner = 0; ; inner++) {
    observeSurfaces(matches, motionOf(pose), motionOf(invert(pose)), observations);
    const scale = weighRobustly(observations, observations.base, 0.3 * noise);
    const form = sumObservations(observations);
    const normalNoise = normalNoiseOf(observations);
    const { motion, analysis } = solveHeldMotion(form, normalNoise);
    const { freeCount } = analysis;
    if (inner === MAX_INNER_STEPS || observations.count < MINIMUM_MATCHES) {
      return { matches, observations, pose, form, freeCount, scale, normalNoise };
    }
    pose = movePose(pose, motion, form);
    if (!(motionSize(motion, form.radius) > 1e-5 * scale)) {
      return { matches, observations, pose, form, freeCount, scale, normalNoise };
    }
  }
}

/** Size of a motion in standard deviations of the pose, one direction on average. */
function significanceOf(motion: readonly number[], round: SurfaceRound): number {
  let sum = 0;
  for (let i = 0; i < 6; i++) {
    for (let j = 0; j < 6; j++) sum += motion[i] * round.form.information[6 * i + j] * motion[j];
  }
  return round.scale > 0 ? Math.sqrt(Math.max(0, sum) / 6) / round.scale : 0;
}

/** Six-vector of the motion from one pose to the next, about the form's reference. */
export function differenceOf(before: Pose, after: Pose, form: QuadraticForm): number[] {
  const change = compose(after, invert(before));
  const shift = subtract(transformPoint(change, form.reference), form.reference);
  return [...shift, ...vectorOfQuaternion(change.rotation)];
}
