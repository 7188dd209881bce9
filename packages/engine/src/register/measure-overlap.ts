import type { RunContext } from '../base/index.ts';
import { add, invert, type Pose, rotationMatrix, transformPoint, type Vec3 } from '../math/index.ts';
import type { OverlapPatches } from '../model/index.ts';
import { inFrameOf } from './information-frame.ts';
import { sumObservations, weighRobustly } from './motion-step.ts';
import { cellsOfObservations, effectiveCount, patchesOfObservations } from './overlap-patches.ts';
import { compareScans } from './pair-order.ts';
import type { PreparedScan } from './prepared-scan.ts';
import type { PoseInformation } from './refined-pose.ts';
import { motionOf, toLocalPose } from './rigid-motion.ts';
import { medianInPlace, selectInPlace } from './robust-scale.ts';
import {
  makeSurfaceObservations,
  matchSurfaces,
  normalNoiseOf,
  observeSurfaces,
  type SmoothSample,
  type SurfaceObservations,
  smoothSampleOf,
} from './surface-matching.ts';
import { analyseInformation } from './weak-directions.ts';

/** How an overlap is measured. */
export interface MeasureOverlapOptions {
  /** Samples of each scan; each carries the mean of its neighbourhood. */
  readonly sampleCount: number;
  /** Points in the neighbourhood of a local surface; 0: chosen for each scan from its noise. */
  readonly neighbourCount: number;
  /** Points farther from the other scan have no partner, mm; 0: three times the larger spacing. */
  readonly maxDistance: number;
  /** Length over which errors belong together, mm; 0: ten times the larger spacing. Size of the patches. */
  readonly correlationLength: number;
  /** Points of either scan that take no part, ascending: those of parts that moved. */
  readonly exclude: { readonly a: Uint32Array; readonly b: Uint32Array } | null;
}

/** 3000 samples keep one call near 30 ms and the form's own sampling error below a tenth of the noise's share. */
export const MEASURE_OVERLAP_DEFAULTS: MeasureOverlapOptions = {
  sampleCount: 3000,
  neighbourCount: 0,
  maxDistance: 0,
  correlationLength: 0,
  exclude: null,
};

/** What two scans say about their relative pose where they show the same surface. Lengths mm. */
export interface OverlapMeasurement {
  /** Quadratic form in a small motion of bFromA, frame of `b`. */
  readonly form: PoseInformation;
  /** Share of the samples of each scan that lie on the other's surface, 0 to 1. */
  readonly shareOfA: number;
  readonly shareOfB: number;
  /** Root mean square (weighted), median of the absolute and 95 % point of the absolute distances between the smooth surfaces. */
  readonly rms: number;
  readonly median: number;
  readonly percentile95: number;
  /** Robust standard deviation of the distances, the scale of the weights. */
  readonly scale: number;
  /** Mean distance of `a` from `b`, positive where `a` lies outside, on the side of b's normals. */
  readonly meanGap: number;
  /** Independent observations that the matches are worth at `correlationLength`. */
  readonly effectiveCount: number;
  readonly correlationLength: number;
  /** The matches gathered in cells, at most 150; Jacobians about the form's reference. */
  readonly patches: OverlapPatches;
  /** Correlation length that smoothing gave to independent errors of the points, mm. */
  readonly smoothing: number;
  /** In words, frame of `b`: what this overlap does not hold, and what it holds weakly. */
  readonly freeDirections: readonly string[];
  readonly weakDirections: readonly string[];
}

/**
 * Measures where two scans lie on each other at a given pose: the evidence of one overlap, for an adjustment of many.
 *
 * Frames   form and words in the frame of `b`; the pose is not changed.
 * Method   distances between the scans' smooth surfaces at samples of both (see `fitLocalSurfaces`), Tukey weights with the
 *          scale of the data.
 * Cost     some 10 microseconds a sample; what does not depend on the pose is kept with the scans.
 * Repeats  bit for bit; swapped scans with the inverse pose give the same numbers in the other frame.
 */
export async function measureOverlap(
  a: PreparedScan,
  b: PreparedScan,
  bFromA: Pose,
  options: Partial<MeasureOverlapOptions>,
  context: RunContext,
): Promise<OverlapMeasurement> {
  const settings = { ...MEASURE_OVERLAP_DEFAULTS, ...options };
  await context.checkpoint();
  // Compute in the canonical order of the two, whatever their roles; `first` keeps still.
  const bIsFirst = compareScans(b, a) <= 0;
  const first = bIsFirst ? b : a;
  const second = bIsFirst ? a : b;
  const pose = toLocalPose(bIsFirst ? bFromA : invert(bFromA), first, second);
  const spacing = Math.max(a.spacing, b.spacing);
  const gate = settings.maxDistance > 0 ? settings.maxDistance : 3 * spacing;
  const correlationLength = settings.correlationLength > 0 ? settings.correlationLength : 10 * spacing;
  const k = settings.neighbourCount;
  const smoothFirst = smoothSampleOf(first, settings.sampleCount, k);
  const smoothSecond = smoothSampleOf(second, settings.sampleCount, k);
  const motion = motionOf(pose);
  const inverse = motionOf(invert(pose));
  const matches = matchSurfaces(first, second, smoothFirst, smoothSecond, motion, inverse, gate);
  if (settings.exclude !== null) {
    const { a: ofA, b: ofB } = settings.exclude;
    leaveOut(smoothFirst, bIsFirst ? ofB : ofA, matches.onB.usable);
    leaveOut(smoothSecond, bIsFirst ? ofA : ofB, matches.onA.usable);
  }
  const observations = makeSurfaceObservations(smoothFirst, smoothSecond);
  observeSurfaces(matches, motion, inverse, observations);
  const scale = weighRobustly(observations, observations.base, 0.3 * Math.hypot(a.noise, b.noise));
  const form = sumObservations(observations);

  let inlierCount = 0;
  let inlierOfSecond = 0;
  let gapSum = 0;
  const absolute = new Float64Array(observations.count);
  for (let i = 0; i < observations.count; i++) {
    const w = observations.weights[i];
    if (!(w > 0)) continue;
    absolute[inlierCount++] = Math.abs(observations.residuals[i]);
    if (i < observations.fromB) inlierOfSecond++;
    gapSum += w * observations.residuals[i];
  }
  const share = (count: number, sample: SmoothSample): number => (sample.count > 0 ? count / sample.count : 0);
  const shareOfSecond = share(inlierOfSecond, smoothSecond);
  const shareOfFirst = share(inlierCount - inlierOfSecond, smoothFirst);
  const median = medianInPlace(absolute, inlierCount);
  const percentile95 =
    inlierCount > 0
      ? selectInPlace(absolute, inlierCount, Math.min(inlierCount - 1, Math.floor(0.95 * inlierCount)))
      : 0;

  const { cellOf, cellCount } = cellsOfObservations(observations, correlationLength);
  const cells = patchesOfObservations(observations, spacing, form.reference);
  const normalNoise = normalNoiseOf(observations);
  const information = inFrameOf(bIsFirst ? 'a' : 'b', form, inlierCount, pose, first, second);
  const analysis = analyseInformation(
    information.information,
    information.weightSum,
    information.reference,
    information.radius,
    normalNoise,
  );
  const meanGap = form.weightSum > 0 ? gapSum / form.weightSum : 0;
  return {
    form: information,
    shareOfA: bIsFirst ? shareOfSecond : shareOfFirst,
    shareOfB: bIsFirst ? shareOfFirst : shareOfSecond,
    rms: form.weightSum > 0 ? Math.sqrt(form.squares / form.weightSum) : 0,
    median,
    percentile95,
    scale,
    // Residuals count from the first scan to the second.
    meanGap: bIsFirst ? meanGap : -meanGap,
    effectiveCount: effectiveCount(observations, cellOf, cellCount),
    correlationLength,
    patches: bIsFirst ? shifted(cells, first.origin) : turnedPatches(cells, pose, second.origin),
    smoothing: SMOOTHING_OF_REACH * meanReach(observations),
    freeDirections: analysis.freeDirections,
    weakDirections: analysis.weakDirections,
  };
}

/** Takes the samples at excluded points out of the matches. */
function leaveOut(sample: SmoothSample, excluded: Uint32Array, usable: Uint8Array): void {
  const isExcluded = new Set(excluded);
  for (let i = 0; i < sample.count; i++) if (isExcluded.has(sample.points[i])) usable[i] = 0;
}

/**
 * Correlation length, in units of the neighbourhood's reach, of independent errors after a local quadric with weights
 * (1 - d^2 / reach^2)^2: where the autocorrelation of its equivalent kernel falls to 1/e (0.48), a little shorter for its
 * negative lobes (0.41 by area).
 */
const SMOOTHING_OF_REACH = 0.45;

/** Mean reach of the neighbourhoods behind the matches that count, mm. */
function meanReach({ count, weights, reaches }: SurfaceObservations): number {
  let sum = 0;
  let weight = 0;
  for (let i = 0; i < count; i++) {
    if (!(weights[i] > 0)) continue;
    sum += weights[i] * reaches[i];
    weight += weights[i];
  }
  return weight > 0 ? sum / weight : 0;
}

function shifted(patches: OverlapPatches, origin: Vec3): OverlapPatches {
  return { ...patches, places: patches.places.map((value, i) => value + origin[i % 3]) };
}

/**
 * Patches of the pose first-from-second as those of its inverse, in the frame of `second`. Residual and normal both change
 * sign (the motion is that of the other scan, the distance that of the other from it), and so keep their meaning: the
 * distance of A from B along B's outer normal.
 */
function turnedPatches(patches: OverlapPatches, firstFromSecond: Pose, origin: Vec3): OverlapPatches {
  const inverse = invert(firstFromSecond);
  const r = rotationMatrix(inverse.rotation);
  const places = new Float64Array(patches.places.length);
  const jacobians = new Float64Array(patches.jacobians.length);
  for (let cell = 0; cell < patches.count; cell++) {
    const [x, y, z] = patches.places.subarray(3 * cell, 3 * cell + 3);
    places.set(add(origin, transformPoint(inverse, [x, y, z])), 3 * cell);
    for (const block of [0, 3]) {
      for (let i = 0; i < 3; i++) {
        let sum = 0;
        for (let j = 0; j < 3; j++) sum += r[3 * i + j] * patches.jacobians[6 * cell + block + j];
        jacobians[6 * cell + block + i] = sum;
      }
    }
  }
  return { ...patches, places, jacobians, residuals: patches.residuals.map((r) => -r) };
}
