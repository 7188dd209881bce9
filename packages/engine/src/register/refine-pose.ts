import type { RunContext } from '../base/index.ts';
import {
  add,
  invert,
  type Pose,
  quaternionOfVector,
  rotate,
  subtract,
  transformPoint,
  type Vec3,
  vectorOfQuaternion,
} from '../math/index.ts';
import { inFrameOf } from './information-frame.ts';
import {
  motionSize,
  movePose,
  type QuadraticForm,
  solveHeldMotion,
  sumObservations,
  weighRobustly,
} from './motion-step.ts';
import { balanceByNormals } from './normal-balance.ts';
import { compareScans } from './pair-order.ts';
import { makeObservations, matchPlanes, sampleScan } from './plane-matching.ts';
import type { PreparedScan } from './prepared-scan.ts';
import { differenceOf, MINIMUM_MATCHES, type OrderedResult, refineOnSurfaces } from './refine-on-surfaces.ts';
import type { RefinedPose, RefineStatus } from './refined-pose.ts';
import { fromLocalPose, motionOf, toLocalPose } from './rigid-motion.ts';
import { analyseInformation } from './weak-directions.ts';

/** How the fine alignment works. */
export interface RefinePoseOptions {
  /** Pose to start from, `targetFromSource`. */
  readonly start: Pose;
  /** Matches sought a scan while far away; some hundreds give six numbers, more only cost. */
  readonly coarseSamples: number;
  /** Matches sought a scan at the end; each carries the mean of its neighbourhood, so these hold all the information of about ten times as many points. */
  readonly fineSamples: number;
  /** Rounds of new matches, over all levels. */
  readonly maxIterations: number;
  /** Share of the smaller scan that must lie on the other's surface, 0 to 1. Below, chance matches can carry the pose. */
  readonly minimumOverlap: number;
  /** Points in the neighbourhood of a local surface; 0: chosen for each scan from its noise (`surfaceNeighbourCount`). */
  readonly neighbourCount: number;
}

/** Defaults of `refinePose` but for the start, which has none. */
export const REFINE_POSE_DEFAULTS: Omit<RefinePoseOptions, 'start'> = {
  coarseSamples: 1500,
  fineSamples: 16000,
  maxIterations: 100,
  minimumOverlap: 0.05,
  neighbourCount: 0,
};

/**
 * Estimates the pose that carries a source scan onto a target scan from a nearby start.
 *
 * Frames   result is `targetFromSource`; `start` in the same sense.
 * Method   far away: symmetric point-to-plane (Rusinkiewicz 2019), matches both ways, gate by the trimmed share (Phillips et
 *          al. 2007), Tukey weights with the scale of the data, equal say for every direction of normals (Rusinkiewicz & Levoy
 *          2001). At the end: distance between the two smooth surfaces, each by moving least squares, which has no bias from
 *          curvature or sampling. Directions that the matches do not hold stay as started (Zhang et al. 2016).
 * Assumes  a start within some degrees and per cent of the size.
 * Limits   the information covers the matches as if independent; an adjustment must add what they have in common.
 * Repeats  bit for bit; swapped roles give the inverse.
 *
 * @param source moves
 * @param target stays
 */
export async function refinePose(
  source: PreparedScan,
  target: PreparedScan,
  options: Partial<RefinePoseOptions> & Pick<RefinePoseOptions, 'start'>,
  context: RunContext,
): Promise<RefinedPose> {
  const settings = { ...REFINE_POSE_DEFAULTS, ...options };
  const isSwapped = compareScans(target, source) > 0;
  const a = isSwapped ? source : target;
  const b = isSwapped ? target : source;
  const startPose = isSwapped ? invert(settings.start) : settings.start;
  const refined = await refineOrdered(a, b, toLocalPose(startPose, a, b), settings, context);
  const aFromB = refined.started ? startPose : fromLocalPose(refined.pose, a, b);
  const targetFromSource = refined.started ? settings.start : isSwapped ? invert(aFromB) : aFromB;
  const information = inFrameOf(isSwapped ? 'b' : 'a', refined.form, refined.matchCount, refined.pose, a, b);
  const analysis = analyseInformation(
    information.information,
    information.weightSum,
    information.reference,
    information.radius,
    refined.normalNoise,
  );
  const hasPose = refined.status !== 'insufficient-overlap';
  return {
    status: refined.status,
    targetFromSource,
    freeDirections: hasPose ? analysis.freeDirections : [],
    weakDirections: hasPose ? analysis.weakDirections : [],
    overlapOfSource: isSwapped ? refined.overlapOfA : refined.overlapOfB,
    overlapOfTarget: isSwapped ? refined.overlapOfB : refined.overlapOfA,
    rms: refined.rms,
    expectedRms: Math.hypot(a.noise, b.noise),
    iterations: refined.iterations,
    information,
    ...wordsFor(refined.status, analysis.freeDirections, Math.max(refined.overlapOfA, refined.overlapOfB)),
  };
}

function wordsFor(status: RefineStatus, free: readonly string[], overlap: number): { message: string; remedy: string } {
  switch (status) {
    case 'converged':
      return { message: 'Fine alignment converged.', remedy: '' };
    case 'degenerate':
      return {
        message: `The overlap does not hold: ${free.join('; ')}. There the start was kept.`,
        remedy: 'Add a tie that holds these directions: targets, picked points, or an overlap with more shape.',
      };
    case 'insufficient-overlap':
      return {
        message: `Too little overlap: ${(100 * overlap).toFixed(1)} % of the smaller scan lies on the other.`,
        remedy: 'Check the start; or capture an overlap, or tie the scans by targets or picked points.',
      };
    case 'iteration-limit':
      return {
        message: 'The fine alignment was still moving at its last round.',
        remedy: 'Start closer, or look for a part that moved between the scans.',
      };
  }
}

async function refineOrdered(
  a: PreparedScan,
  b: PreparedScan,
  start: Pose,
  settings: RefinePoseOptions,
  context: RunContext,
): Promise<OrderedResult> {
  const spacing = Math.max(a.spacing, b.spacing);
  const noise = Math.hypot(a.noise, b.noise);
  let pose = roundPose(start, a, b, spacing);
  let iterations = 0;
  let gate = Infinity;
  // While the scans are far apart, matched normals differ by more than their noise; what the noise of the points alone gives
  // is the limit then.
  const normalNoise = expectedNormalNoise(a, b);
  let started = true;
  const levels = [
    { samples: settings.coarseSamples, until: 0.5 * spacing },
    { samples: 2 * settings.coarseSamples, until: 0.05 * spacing },
  ];
  let isMoving = true;
  for (const level of levels) {
    const samplesA = sampleScan(a, level.samples);
    const samplesB = sampleScan(b, level.samples);
    const observations = makeObservations(samplesA.points.length + samplesB.points.length);
    const balance = new Float64Array(samplesA.points.length + samplesB.points.length);
    isMoving = true;
    while (isMoving && iterations < settings.maxIterations) {
      await context.checkpoint(Math.min(0.8, iterations / 40), 'aligning');
      const motion = motionOf(pose);
      const inverse = motionOf(invert(pose));
      const round = matchPlanes(a, b, samplesA, samplesB, motion, inverse, gate, 3 * spacing, observations);
      if (observations.count < MINIMUM_MATCHES)
        return nothingFound(start, observations.count, sumObservations(observations), iterations);
      gate = round.gate;
      balanceByNormals(observations, balance);
      weighRobustly(observations, balance, noise);
      const form = sumObservations(observations);
      const { motion: step } = solveHeldMotion(form, normalNoise);
      pose = movePose(pose, step, form);
      started = false;
      iterations++;
      isMoving = motionSize(step, form.radius) > level.until;
    }
  }
  let finish = await refineOnSurfaces(a, b, pose, 3 * spacing, settings, noise, iterations, context.part(0.8, 0.9));
  if (finish.freeCount > 0 && finish.matchCount >= MINIMUM_MATCHES) {
    // What the coarse rounds moved in directions that turn out to be free had no reason: take it back.
    const held = heldPartOf(start, finish);
    finish = await refineOnSurfaces(a, b, held, 3 * spacing, settings, noise, finish.iterations, context.part(0.9, 1));
  }
  const overlap = Math.max(finish.overlapOfA, finish.overlapOfB);
  let status: RefineStatus = 'converged';
  if (finish.matchCount < MINIMUM_MATCHES || overlap < settings.minimumOverlap) status = 'insufficient-overlap';
  else if (isMoving || !finish.settled) status = 'iteration-limit';
  else if (finish.freeCount > 0) status = 'degenerate';
  return { ...finish, status, started: status === 'insufficient-overlap' || started };
}

function nothingFound(pose: Pose, matchCount: number, form: QuadraticForm, iterations: number): OrderedResult {
  return {
    status: 'insufficient-overlap',
    started: true,
    pose,
    form,
    matchCount,
    normalNoise: 0,
    overlapOfA: 0,
    overlapOfB: 0,
    rms: 0,
    iterations,
  };
}

/**
 * Rounds a start to a fraction of the spacing, so that a start that differs by rounding only (the inverse of an inverse, an
 * origin ten million away) leads to the same matches and the same answer.
 */
function roundPose(pose: Pose, a: PreparedScan, b: PreparedScan, spacing: number): Pose {
  const step = spacing / 4096;
  const reach = Math.max(a.radius, b.radius);
  if (!(step > 0 && reach > 0)) return pose;
  const round = (value: number, unit: number): number => Math.round(value / unit) * unit;
  const rotationVector = vectorOfQuaternion(pose.rotation);
  const turn = step / reach;
  const rotation = quaternionOfVector([
    round(rotationVector[0], turn),
    round(rotationVector[1], turn),
    round(rotationVector[2], turn),
  ]);
  const middle = subtract(transformPoint(pose, b.centroid), a.centroid);
  const placed: Vec3 = add(a.centroid, [round(middle[0], step), round(middle[1], step), round(middle[2], step)]);
  return { rotation, translation: subtract(placed, rotate(rotation, b.centroid)) };
}

/** Noise of one component of a normal of either scan, rad: of a plane through 16 points with the scan's noise and spacing. */
function expectedNormalNoise(a: PreparedScan, b: PreparedScan): number {
  const slope = (scan: PreparedScan): number => (scan.spacing > 0 ? (0.22 * scan.noise) / scan.spacing : 0);
  return Math.hypot(slope(a), slope(b)) / 2;
}

/** The refined pose without the motion since the start along directions that the matches do not hold. */
function heldPartOf(start: Pose, refined: OrderedResult): Pose {
  const { form, pose, normalNoise } = refined;
  const { vectors, freeCount } = analyseInformation(
    form.information,
    form.weightSum,
    form.reference,
    form.radius,
    normalNoise,
  );
  const back = differenceOf(pose, start, form);
  const scaleOf = (i: number): number => (i < 3 ? 1 : form.radius);
  const motion = new Float64Array(6);
  for (let k = 0; k < freeCount; k++) {
    let along = 0;
    for (let i = 0; i < 6; i++) along += vectors[6 * i + k] * back[i] * scaleOf(i);
    for (let i = 0; i < 6; i++) motion[i] += (along * vectors[6 * i + k]) / scaleOf(i);
  }
  return movePose(pose, motion, form);
}
