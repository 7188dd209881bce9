import type { RunContext } from '../base/index.ts';
import {
  chiSquareQuantile,
  chiSquareTail,
  IDENTITY_POSE,
  type Pose,
  rotate,
  symmetricEigen,
  type Vec3,
} from '../math/index.ts';
import type { AlignmentResult, FramePose, NetworkObservation } from '../model/index.ts';
import { describeFreeMotion } from './free-directions.ts';
import { innerDatumCovariance, moveToInnerDatum } from './inner-datum.ts';
import { findLoopClosures, type NetworkClosure } from './loop-closures.ts';
import { localRelativePose, makeNetworkModel, type NetworkFrame, type NetworkModel } from './network-model.ts';
import {
  type AdjustedTarget,
  type FrameCovariance,
  judgeObservations,
  type PointResidual,
} from './network-residuals.ts';
import { type SolvedNetwork, solveNetwork } from './solve-network.ts';
import { findStartPoses } from './start-poses.ts';
import { type AdjustedTie, gatherTies } from './tie-results.ts';

/** What holds the network in space. */
export type NetworkDatum =
  /** One frame keeps its start pose; null: the first frame of the largest connected part. */
  | { readonly kind: 'fixed-frame'; readonly frame: string | null }
  /** The whole network moves least from its start poses. */
  | { readonly kind: 'inner-constraints' }
  /** Nothing but the priors among the observations. */
  | { readonly kind: 'priors' };

/** Options of `adjustNetwork`. */
export interface AdjustNetworkOptions {
  readonly datum: NetworkDatum;
  /** Frames in the order of the job, with their centres; frames without observations are named and refused. */
  readonly frames: readonly NetworkFrame[];
  /** jobFromFrame to start from, by frame; others are found from the ties. */
  readonly start: ReadonlyMap<string, Pose>;
  /** `huber` lowers the weight of targets and pairs with large residuals; overlaps come already robust. */
  readonly robust: 'none' | 'huber';
  /** Standardised length of a three-dimensional residual above which `huber` lowers the weight. */
  readonly huberLimit: number;
  /** When the stated covariances are multiplied by the variance factor. */
  readonly enlarge: 'when-test-fails' | 'never';
  /** Level of the global test for that. */
  readonly globalTestLevel: number;
  /** Level of the test of single points. */
  readonly pointTestLevel: number;
  /** A frame is refused when some motion is uncertain by more than this share of its radius (k = 1). */
  readonly largestUncertaintyShare: number;
  readonly largestIterationCount: number;
}

/**
 * First frame fixed; plain least squares, because a bad tie is to be named, not smoothed. 2.5: the length that 10 % of good
 * three-dimensional residuals exceed. 5 % and 0.1 %: the usual levels of the global and the single test [Baarda68]. 0.2: a
 * pose known to a fifth of the object's size, or to 11 degrees, is no pose, and first-order covariances end there too.
 */
export const ADJUST_NETWORK_DEFAULTS: AdjustNetworkOptions = {
  datum: { kind: 'fixed-frame', frame: null },
  frames: [],
  start: new Map(),
  robust: 'none',
  huberLimit: 2.5,
  enlarge: 'when-test-fails',
  globalTestLevel: 0.05,
  pointTestLevel: 0.001,
  largestUncertaintyShare: 0.2,
  largestIterationCount: 100,
};

/** Point observations that the test calls bad; more than one: they cannot be told apart. */
export interface SuspectObservations {
  readonly pointTest: number;
  readonly limit: number;
  readonly observations: readonly PointResidual[];
}

/** Result of `adjustNetwork`. */
export interface NetworkAdjustment extends AlignmentResult {
  readonly ties: readonly AdjustedTie[];
  readonly closures: readonly NetworkClosure[];
  readonly points: readonly PointResidual[];
  readonly targets: readonly AdjustedTarget[];
  /** vPv. */
  readonly weightedSumSquares: number;
  readonly observationCount: number;
  readonly unknownCount: number;
  /** Probability of a vPv this large when all stated uncertainties are true; null without redundancy. */
  readonly globalTestProbability: number | null;
  /** What the frames' covariances were multiplied by. */
  readonly enlargement: number;
  readonly suspects: SuspectObservations | null;
  /** 6 x 6 cross covariance of two frames' motions, each about its own reference, row-major, enlarged as theirs; null when one has none. */
  crossCovariance(frameA: string, frameB: string): Float64Array | null;
}

/**
 * Adjusts the poses of all frames together from all their ties.
 *
 * Frames   results are `jobFromFrame`; covariances are those of a left motion in the job frame about `covarianceReference`.
 * Units    mm, rad; covariance order tx ty tz rx ry rz.
 * Method   least squares (Gauss-Newton, damped when needed): poses by left perturbations at each frame's centre, targets as
 *          unknown points eliminated block by block, overlaps as quadratic forms; sparse Cholesky; redundancy and tests as
 *          in network adjustment [Baarda68, Niemeier08]; targets with errors in every frame as measured.
 * Assumes  observations independent of each other; an overlap counts as its effective number of independent patches.
 * Limits   first-order covariance; it knows nothing of errors that no residual shows (scale, temperature). Frames that nothing
 *          ties to the rest, or that some motion leaves free, are refused by name; the rest is adjusted.
 * Cost     200 frames: seconds. Checks for cancel at every iteration.
 * Repeats  bit for bit.
 *
 * @throws RangeError for observations that are no numbers, or a datum frame that does not exist
 */
export async function adjustNetwork(
  observations: readonly NetworkObservation[],
  options: Partial<AdjustNetworkOptions>,
  context: RunContext,
): Promise<NetworkAdjustment> {
  const settings = { ...ADJUST_NETWORK_DEFAULTS, ...options };
  const datumFrame = chooseDatum(observations, settings);
  const model = makeNetworkModel(
    observations,
    settings.frames,
    (datumFrame === null ? undefined : settings.start.get(datumFrame)) ?? IDENTITY_POSE,
    datumFrame,
  );
  const datum = datumFrame === null ? -1 : model.frames.indexOf(datumFrame);
  const start = startPoses(model, settings, datum);
  const used = start.map((pose) => pose !== null);
  const startOrIdentity = start.map((pose) => pose ?? IDENTITY_POSE);
  const solve = (from: readonly Pose[], part: RunContext): Promise<SolvedNetwork> =>
    solveNetwork(
      model,
      used,
      datum,
      from,
      {
        largestIterationCount: settings.largestIterationCount,
        huberLimit: settings.robust === 'huber' ? settings.huberLimit : null,
      },
      part,
    );
  let solved = await solve(startOrIdentity, context.part(0, 0.8));
  const members = used.flatMap((u, i) => (u ? [i] : []));
  const isInner = settings.datum.kind === 'inner-constraints';
  if (isInner && members.length > 0) {
    const iterations = solved.iterations;
    const moved = moveToInnerDatum(model, members, startOrIdentity, solved.linear.poses);
    const again = await solve(moved, context.part(0.8, 0.9));
    solved = { ...again, iterations: iterations + again.iterations };
  }
  await context.checkpoint(0.9, 'residuals and covariances');

  const { blockOf, factor, linear } = solved;
  const zero = new Float64Array(36);
  const fixedCovariance: FrameCovariance = (i, j) => {
    const [a, b] = [blockOf[i] as number, blockOf[j] as number];
    return a < 0 || b < 0 ? zero : factor.inverseBlock(a, b);
  };
  const stated = isInner ? innerDatumCovariance(model, members, linear.poses, blockOf, factor) : fixedCovariance;
  const residuals = judgeObservations(model, used, linear, fixedCovariance);
  const targetsInDatum = isInner ? judgeObservations(model, used, linear, stated).targets : residuals.targets;
  const freeCount = factor.freeDirections.length;
  const unknownCount = 6 * factor.blockCount - freeCount + 3 * linear.targets.length;
  const redundancy = residuals.observationCount - unknownCount;
  const varianceFactor = redundancy > 0 ? residuals.weightedSumSquares / redundancy : null;
  const globalTestProbability = redundancy > 0 ? chiSquareTail(residuals.weightedSumSquares, redundancy) : null;
  const fails = globalTestProbability !== null && globalTestProbability < settings.globalTestLevel;
  const enlargement = settings.enlarge === 'when-test-fails' && fails ? Math.max(1, varianceFactor ?? 1) : 1;
  if (fails) {
    context.findings.add({
      severity: (globalTestProbability as number) < 0.001 ? 'warning' : 'note',
      code: 'network-misfit',
      subject: 'adjustment',
      message: `The ties fit each other worse than their stated uncertainties: variance factor ${(varianceFactor as number).toFixed(2)} with redundancy ${redundancy}.`,
      remedy:
        'Look at the tie with the largest standardised residual and at the loop closures; a moved part, a wrong pair or a sigma that is too small show there.',
    });
  }
  const suspects = findSuspects(residuals.points, settings.pointTestLevel);
  if (suspects) reportSuspects(suspects, context);

  const frames = model.frames.map((_, i) =>
    frameResult(model, i, { solved, stated, datum, isInner, used, settings, enlargement }),
  );
  for (const f of frames) {
    if (f.status === 'refused') {
      context.findings.add({
        severity: 'refusal',
        code: 'frame-not-held',
        subject: f.frame,
        message: f.message,
        remedy: f.remedy,
      });
    }
  }
  const index = new Map(model.frames.map((name, i) => [name, i]));
  context.progress(1);
  return {
    frames,
    ties: gatherTies(model, observations, residuals.shares, used),
    closures: findLoopClosures(model),
    points: residuals.points,
    targets: targetsInDatum.map((t) => ({ ...t, covariance: t.covariance.map((c) => c * enlargement) })),
    weightedSumSquares: residuals.weightedSumSquares,
    observationCount: residuals.observationCount,
    unknownCount,
    varianceFactor,
    redundancy,
    globalTestProbability,
    enlargement,
    suspects,
    iterations: solved.iterations,
    converged: solved.converged,
    jointCovariance: null,
    globalTest: null,
    varianceComponents: [],
    instrumentErrors: [],
    movedParts: [],
    crossCovariance: (frameA, frameB) => {
      const [i, j] = [index.get(frameA), index.get(frameB)];
      if (i === undefined || j === undefined || !frames[i]?.covariance || !frames[j]?.covariance) return null;
      return unscale(stated(i, j), model.radii[i] as number, model.radii[j] as number, enlargement);
    },
  };
}

/** Name of the frame that stays, or null when priors hold the network. */
function chooseDatum(observations: readonly NetworkObservation[], settings: AdjustNetworkOptions): string | null {
  if (settings.datum.kind === 'priors') return null;
  const model = makeNetworkModel(observations, settings.frames, IDENTITY_POSE, null);
  if (settings.datum.kind === 'fixed-frame' && settings.datum.frame !== null) {
    if (!model.frames.includes(settings.datum.frame))
      throw new RangeError(`There is no frame ${settings.datum.frame}.`);
    return settings.datum.frame;
  }
  const sizes = new Map<number, number>();
  for (const part of model.components) sizes.set(part, (sizes.get(part) ?? 0) + 1);
  let best = 0;
  for (const [part, size] of [...sizes].sort((a, b) => a[0] - b[0])) if (size > (sizes.get(best) ?? 0)) best = part;
  return model.frames[best] ?? null;
}

/** Start poses of the centred frames; null for those that nothing ties to the datum. */
function startPoses(model: NetworkModel, settings: AdjustNetworkOptions, datum: number): (Pose | null)[] {
  const reached = new Set<number>();
  if (datum >= 0) reached.add(model.components[datum] as number);
  for (const link of model.links) if (link.kind === 'prior') reached.add(model.components[link.a] as number);
  const known = model.frames.map((name, i): Pose | null => {
    const given = settings.start.get(name) ?? (i === datum ? IDENTITY_POSE : undefined);
    if (!given || !reached.has(model.components[i] as number)) return null;
    return localRelativePose(given, model.centres[i] as Vec3, model.jobOffset);
  });
  return findStartPoses(model, known);
}

function findSuspects(points: readonly PointResidual[], level: number): SuspectObservations | null {
  const limit = chiSquareQuantile(level, 3);
  let worst = 0;
  for (const p of points) worst = Math.max(worst, p.pointTest ?? 0);
  if (worst <= limit) return null;
  // Equal to a hundredth: such an observation explains the misfit as well as the worst one does.
  return { pointTest: worst, limit, observations: points.filter((p) => (p.pointTest ?? 0) >= 0.99 * worst) };
}

function reportSuspects(suspects: SuspectObservations, context: RunContext): void {
  const names = suspects.observations.map((p) =>
    p.kind === 'target' ? `target ${p.name} in ${p.frames[0]}` : `pair ${p.name} of ${p.tie}`,
  );
  const test = `test value ${suspects.pointTest.toFixed(1)}, limit ${suspects.limit.toFixed(1)}`;
  context.findings.add({
    severity: 'warning',
    code: 'observation-stands-out',
    subject: suspects.observations[0]?.tie ?? 'adjustment',
    message:
      names.length === 1
        ? `${names[0]} does not fit the rest (${test}).`
        : `One of these does not fit, and the network cannot tell which: ${names.join(', ')} (${test}).`,
    remedy:
      names.length === 1
        ? 'Measure it again or leave it out.'
        : 'Measure them again, or see the target from one more frame; leaving out the wrong one spoils the result.',
  });
}

/** Covariance in mm and rad from one with rotations as lengths. */
function unscale(c: Float64Array, radiusA: number, radiusB: number, factor: number): Float64Array {
  return c.map((value, e) => {
    const row = Math.floor(e / 6) < 3 ? 1 : radiusA;
    const column = e % 6 < 3 ? 1 : radiusB;
    return (value * factor) / (row * column);
  });
}

function frameResult(
  model: NetworkModel,
  i: number,
  state: {
    solved: SolvedNetwork;
    stated: FrameCovariance;
    datum: number;
    isInner: boolean;
    used: readonly boolean[];
    settings: AdjustNetworkOptions;
    enlargement: number;
  },
): FramePose {
  const { solved, stated, datum, isInner, used, settings, enlargement } = state;
  const frame = model.frames[i] as string;
  const refuse = (message: string, remedy: string): FramePose => ({
    frame,
    jobFromFrame: null,
    covariance: null,
    covarianceReference: null,
    status: 'refused',
    message,
    remedy,
    rivals: [],
  });
  if (!used[i]) {
    return refuse(
      `Nothing ties \`${frame}\` to the rest.`,
      'Add an overlap, common targets or three picked pairs with a frame that is placed.',
    );
  }
  const radius = model.radii[i] as number;
  const covariance = stated(i, i);
  const block = solved.blockOf[i] as number;
  if (block >= 0) {
    const free = freeMotions(solved, block, covariance, settings.largestUncertaintyShare * radius);
    if (free.basis.length > 0) {
      const words = describeFreeMotion(free.basis);
      const known = free.isExact ? '' : ` better than ${Number(free.uncertainty.toPrecision(2))} mm`;
      return refuse(
        `Nothing holds \`${frame}\` ${words.join(', ')}${known}.`,
        'Add an overlap, a target or a picked pair that holds this motion; best far from the present ties.',
      );
    }
  }
  const local = solved.linear.poses[i] as Pose;
  const offset = model.jobOffset;
  const reference: Vec3 = [
    local.translation[0] + offset[0],
    local.translation[1] + offset[1],
    local.translation[2] + offset[2],
  ];
  const isFixed = i === datum && !isInner;
  return {
    frame,
    jobFromFrame: isFixed
      ? (settings.start.get(frame) ?? IDENTITY_POSE)
      : globalPose(local, reference, model.centres[i] as Vec3),
    covariance: Array.from(unscale(covariance, radius, radius, enlargement)),
    covarianceReference: reference,
    status: isFixed ? 'fixed' : 'adjusted',
    message: isFixed ? 'Its frame is that of the job.' : solved.converged ? '' : 'The adjustment did not settle.',
    remedy: solved.converged ? '' : 'Check the ties with the largest residuals; start from better poses.',
    rivals: [],
  };
}

function globalPose(local: Pose, reference: Vec3, centre: Vec3): Pose {
  const r = rotate(local.rotation, centre);
  return { rotation: local.rotation, translation: [reference[0] - r[0], reference[1] - r[1], reference[2] - r[2]] };
}

/** Directions that nothing holds (from the factor) or that are known too loosely (from the covariance). */
function freeMotions(
  solved: SolvedNetwork,
  block: number,
  covariance: Float64Array,
  limit: number,
): { basis: Float64Array[]; isExact: boolean; uncertainty: number } {
  const basis: Float64Array[] = [];
  for (const { motion } of solved.factor.freeDirections) {
    const own = motion.slice(6 * block, 6 * block + 6);
    let largest = 0;
    for (const value of motion) largest = Math.max(largest, Math.abs(value));
    // A hundredth of the motion: what stays is rounding, or frames that hardly move with it.
    if (Math.max(...own.map(Math.abs)) > 0.01 * largest) basis.push(own);
  }
  const isExact = basis.length > 0;
  let uncertainty = 0;
  const { values, vectors } = symmetricEigen(covariance, 6);
  for (let e = 0; e < 6; e++) {
    if (!(values[e] > limit * limit)) continue;
    uncertainty = Math.max(uncertainty, Math.sqrt(values[e]));
    basis.push(Float64Array.from({ length: 6 }, (_, k) => vectors[6 * k + e]));
  }
  return { basis, isExact, uncertainty };
}
