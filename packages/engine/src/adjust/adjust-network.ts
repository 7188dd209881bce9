import type { RunContext } from '../base/index.ts';
import { chiSquareQuantile, chiSquareTail, IDENTITY_POSE, type Pose, subtract, type Vec3 } from '../math/index.ts';
import type {
  AdjustableObservation,
  AlignmentResult,
  GlobalTest,
  OverlapCorrelation,
  ScaleTerm,
} from '../model/index.ts';
import { frameResult, unscaleFrames } from './frame-results.ts';
import { markDatum, moveToInnerDatum } from './inner-datum.ts';
import { joinCovariance } from './joint-covariance.ts';
import { JUDGE_TIES_DEFAULTS, type JudgedTies, type JudgeTiesOptions, judgeTies } from './judge-ties.ts';
import { type NetworkState, numberUnknowns } from './linear-link.ts';
import { findLoopClosures, type NetworkClosure } from './loop-closures.ts';
import type { NetworkFrame } from './network-frame.ts';
import { localRelativePose, makeNetworkModel, type NetworkModel } from './network-model.ts';
import { judgeObservations, type PointResidual } from './network-residuals.ts';
import type { ScalarResidual } from './scalar-residuals.ts';
import { type SolvedNetwork, solveNetwork } from './solve-network.ts';
import { findStart } from './start-state.ts';
import { stateCovariance } from './stated-covariance.ts';
import { suspectFinding } from './suspect-finding.ts';
import { type AdjustedTarget, type RefusedPoint, targetResults } from './target-results.ts';
import { type AdjustedTie, gatherTies } from './tie-results.ts';

/** What holds the network in space. */
export type NetworkDatum =
  /** One frame keeps its start pose; null: the first frame of the largest connected part. */
  | { readonly kind: 'fixed-frame'; readonly frame: string | null }
  /**
   * What carries the datum moves least from where it started: all frames, or (when `points` are named, or there are no frames)
   * named points: minimum trace over them. What observations hold of the whole (priors, known points, directions) stays held.
   */
  | { readonly kind: 'inner-constraints'; readonly points?: readonly string[] }
  /** Nothing but the priors and known points among the observations. */
  | { readonly kind: 'priors' };

/** Options of `adjustNetwork`. */
export interface AdjustNetworkOptions {
  readonly datum: NetworkDatum;
  /** Frames in the order of the job, with their centres; frames without observations are named and refused. */
  readonly frames: readonly NetworkFrame[];
  /** jobFromFrame to start from, by frame; others are found from the ties. */
  readonly start: ReadonlyMap<string, Pose>;
  /** Approximate places in the job of named points, mm; others are found from what sees them and from measured vectors. */
  readonly startPoints: ReadonlyMap<string, Vec3>;
  /** What overlaps share of their scans' errors: enlarges the stated covariance. */
  readonly correlations: readonly OverlapCorrelation[];
  /** Errors of length of instruments and materials. */
  readonly scaleTerms: readonly ScaleTerm[];
  /** `huber` lowers the weight of single measurements with large residuals; overlaps come already robust. */
  readonly robust: 'none' | 'huber';
  /** Standardised length of a residual above which `huber` lowers the weight. */
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
  /** Tests of ties, and variance components of the groups that `componentGroup` names; null: neither (rounds that only need poses). */
  readonly judge: JudgeTiesOptions | null;
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
  startPoints: new Map(),
  correlations: [],
  scaleTerms: [],
  robust: 'none',
  huberLimit: 2.5,
  enlarge: 'when-test-fails',
  globalTestLevel: 0.05,
  pointTestLevel: 0.001,
  largestUncertaintyShare: 0.2,
  largestIterationCount: 100,
  judge: JUDGE_TIES_DEFAULTS,
};

/** Point observations that the test calls bad; more than one: they cannot be told apart. */
export interface SuspectObservations {
  readonly pointTest: number;
  readonly limit: number;
  readonly observations: readonly PointResidual[];
}

/** Result of `adjustNetwork`. */
export interface NetworkAdjustment extends Omit<AlignmentResult, 'instrumentErrors' | 'movedParts'> {
  readonly ties: readonly AdjustedTie[];
  readonly closures: readonly NetworkClosure[];
  readonly points: readonly PointResidual[];
  /** Every number that was observed independently of others. */
  readonly scalars: readonly ScalarResidual[];
  readonly targets: readonly AdjustedTarget[];
  /** Named points that have no place, with the reason. */
  readonly refusedPoints: readonly RefusedPoint[];
  /** Value of each scale term; `sigma` a posteriori (a priori for those that are not estimated). */
  readonly scales: readonly { readonly name: string; readonly value: number; readonly sigma: number }[];
  /** vPv. */
  readonly weightedSumSquares: number;
  readonly observationCount: number;
  readonly unknownCount: number;
  /** Probability of a vPv this large when all stated uncertainties are true; null without redundancy. */
  readonly globalTestProbability: number | null;
  /** What all stated covariances were multiplied by. */
  readonly enlargement: number;
  readonly suspects: SuspectObservations | null;
  /** What does not fit: one measurement, one tie, or several that the network cannot tell apart; null when all fit. */
  readonly suspect: JudgedTies['suspect'];
  /** 6 x 6 cross covariance of two frames' motions, each about its own reference, row-major, enlarged as theirs; null when one has none. */
  crossCovariance(frameA: string, frameB: string): Float64Array | null;
}

/**
 * Adjusts the poses of all frames, and named points and scales, together from all observations.
 *
 * Frames   results are `jobFromFrame`; covariances are those of a left motion in the job frame about `covarianceReference`.
 * Units    mm, rad; covariance order tx ty tz rx ry rz.
 * Method   least squares (Gauss-Newton, damped when needed): poses by left perturbations at each frame's centre, targets as
 *          unknown points eliminated block by block (explicit where distances, differences or known coordinates touch them),
 *          overlaps as quadratic forms; sparse Cholesky; redundancy and tests as in network adjustment [Baarda68, Niemeier08];
 *          targets with errors in every frame as measured; stated covariance with correlated overlaps and consider parameters
 *          (see `stateCovariance`). Global test: vPv against the chi-square of equal mean and variance when correlations or
 *          considered terms make it differ from that of the redundancy (Satterthwaite 1946).
 * Assumes  observations independent of each other except where `correlations` say otherwise; an overlap that is not weighed
 *          counts as its effective number of independent patches.
 * Limits   first-order covariance; of errors that no residual shows it knows the stated scale terms only. Frames that nothing
 *          ties to the rest, or that some motion leaves free, are refused by name; the rest is adjusted.
 * Cost     50 frames with 300 overlaps: some tenths of a second; 200 frames: seconds, and the inverse of all unknowns is kept
 *          (1200 numbers square). Checks for cancel at every iteration.
 * Repeats  bit for bit.
 *
 * @throws RangeError for observations that are no numbers, or a datum frame that does not exist
 */
export async function adjustNetwork(
  observations: readonly AdjustableObservation[],
  options: Partial<AdjustNetworkOptions>,
  context: RunContext,
): Promise<NetworkAdjustment> {
  const settings = { ...ADJUST_NETWORK_DEFAULTS, ...options };
  const datumFrame = chooseDatum(observations, settings);
  const model = makeNetworkModel(
    observations,
    settings,
    (datumFrame === null ? undefined : settings.start.get(datumFrame)) ?? IDENTITY_POSE,
    datumFrame,
  );
  const datum = datumFrame === null ? -1 : model.frames.indexOf(datumFrame);
  const isInner = settings.datum.kind === 'inner-constraints';
  const found = startNetwork(model, settings, datum);
  const start: NetworkState = {
    poses: found.poses.map((pose) => pose ?? IDENTITY_POSE),
    points: found.points.map((p) => p ?? ([0, 0, 0] as Vec3)),
    terms: model.terms.map(() => 0),
  };
  const usedFrames = found.poses.map((p) => p !== null);
  const usedPoints = found.points.map((p) => p !== null);
  const unknowns = numberUnknowns(model, usedFrames, usedPoints, isInner ? -1 : datum);
  const hold = isInner ? chooseHold(unknowns.blockOfFrame[datum] ?? -1, unknowns.blockOfPoint, start.points) : [];
  const solve = (from: NetworkState, part: RunContext): Promise<SolvedNetwork> =>
    solveNetwork(
      model,
      unknowns,
      from,
      {
        largestIterationCount: settings.largestIterationCount,
        huberLimit: settings.robust === 'huber' ? settings.huberLimit : null,
        hold,
      },
      part,
    );
  let solved = await solve(start, context.part(0, 0.8));
  const mask =
    settings.datum.kind === 'inner-constraints' && hold.length > 0
      ? markDatum(model, unknowns, settings.datum.points)
      : null;
  if (mask) {
    const { iterations, heldMotions, linear } = solved;
    const moved = moveToInnerDatum(model, unknowns, mask, heldMotions, start, linear.state);
    const again = await solve(moved, context.part(0.8, 0.9));
    solved = { ...again, iterations: iterations + again.iterations };
  }
  await context.checkpoint(0.9, 'residuals and covariances');

  const { factor, linear } = solved;
  const residuals = judgeObservations(model, unknowns, linear, (i, j) => factor.inverseBlock(i, j));
  const unknownCount =
    unknowns.offsets[unknowns.sizes.length] -
    factor.freeDirections.length -
    solved.heldMotions.length +
    3 * linear.targets.length;
  const redundancy = residuals.observationCount - unknownCount;
  const stated = stateCovariance(model, solved, settings.correlations, redundancy, mask);
  const globalTest = testWhole(residuals.weightedSumSquares, stated, redundancy, settings.globalTestLevel);
  const fails = globalTest !== null && globalTest.probability < globalTest.level;
  // vPv over what is expected of it: the redundancy, or what correlations and considered terms make of it.
  const varianceFactor = globalTest === null ? null : globalTest.statistic / globalTest.degreesOfFreedom;
  const enlargement = settings.enlarge === 'when-test-fails' && fails ? Math.max(1, varianceFactor ?? 1) : 1;
  if (fails) {
    context.findings.add({
      severity: globalTest.probability < 0.001 ? 'warning' : 'note',
      code: 'network-misfit',
      subject: 'adjustment',
      message: `The ties fit each other worse than their stated uncertainties: variance factor ${(varianceFactor as number).toFixed(2)} with redundancy ${redundancy}.`,
      remedy:
        'Look at the tie with the largest standardised residual and at the loop closures; a moved part, a wrong pair or a sigma that is too small show there.',
    });
  }
  const suspects = findSuspects(residuals.points, settings.pointTestLevel);
  const judged = judgeTies(model, solved, stated, settings);
  if (judged.suspect) context.findings.add(suspectFinding(judged.suspect));

  const frames = model.frames.map((_, i) =>
    frameResult(model, i, {
      solved,
      stated,
      fixed: isInner ? -1 : datum,
      fixedPose: settings.start.get(model.frames[i] as string),
      largestUncertaintyShare: settings.largestUncertaintyShare,
      enlargement,
    }),
  );
  for (const f of frames) if (f.status === 'refused') reportRefusal('frame-not-held', f.frame, f, context);
  const { targets, refused } = targetResults(model, solved, stated, enlargement);
  for (const p of refused) reportRefusal('point-not-held', p.name, p, context);
  const index = new Map(model.frames.map((name, i) => [name, i]));
  context.progress(1);
  return {
    frames,
    ties: gatherTies(model, observations, residuals.shares, unknowns).map((t) => ({
      ...t,
      test: judged.tests.get(t.id) ?? null,
    })),
    closures: findLoopClosures(model),
    points: residuals.points,
    scalars: residuals.scalars.map((s) => ({
      ...s,
      tau: s.standardised !== null && varianceFactor ? s.standardised / Math.sqrt(varianceFactor) : null,
    })),
    targets,
    refusedPoints: refused,
    scales: model.terms.map((t, i) => {
      const block = stated.blockOfTerm[i];
      const variance = (stated.block(block, block)[0] as number) * enlargement;
      return { name: t.name, value: linear.state.terms[i] as number, sigma: Math.sqrt(Math.max(0, variance)) };
    }),
    weightedSumSquares: residuals.weightedSumSquares,
    observationCount: residuals.observationCount,
    unknownCount,
    varianceFactor,
    redundancy,
    globalTestProbability: globalTest?.probability ?? null,
    enlargement,
    suspects,
    iterations: solved.iterations,
    converged: solved.converged,
    jointCovariance: model.frames.length > 0 ? joinCovariance(model, unknowns, stated, frames, enlargement) : null,
    globalTest,
    varianceComponents: judged.components,
    suspect: judged.suspect,
    crossCovariance: (frameA, frameB) => {
      const [i, j] = [index.get(frameA), index.get(frameB)];
      if (i === undefined || j === undefined || !frames[i]?.covariance || !frames[j]?.covariance) return null;
      const [a, b] = [unknowns.blockOfFrame[i], unknowns.blockOfFrame[j]];
      const own = a < 0 || b < 0 ? new Float64Array(36) : stated.block(a, b);
      return unscaleFrames(own, model.radii[i] as number, model.radii[j] as number, enlargement);
    },
  };
}

/** vPv against the chi-square distribution of the same mean and variance (Satterthwaite 1946): of the redundancy itself as a rule. */
function testWhole(
  weightedSumSquares: number,
  expected: { readonly expectedSum: number; readonly varianceOfSum: number },
  redundancy: number,
  level: number,
): GlobalTest | null {
  const { expectedSum, varianceOfSum } = expected;
  if (!(redundancy > 0 && expectedSum > 0 && varianceOfSum > 0)) return null;
  const degreesOfFreedom = (2 * expectedSum * expectedSum) / varianceOfSum;
  const statistic = (weightedSumSquares * degreesOfFreedom) / expectedSum;
  return { statistic, degreesOfFreedom, probability: chiSquareTail(statistic, degreesOfFreedom), level };
}

/** Name of the frame that stays or that carries the free motions, or null when there is none. */
function chooseDatum(observations: readonly AdjustableObservation[], settings: AdjustNetworkOptions): string | null {
  if (settings.datum.kind === 'priors') return null;
  const model = makeNetworkModel(observations, settings, IDENTITY_POSE, null);
  if (settings.datum.kind === 'fixed-frame' && settings.datum.frame !== null) {
    if (!model.frames.includes(settings.datum.frame))
      throw new RangeError(`There is no frame ${settings.datum.frame}.`);
    return settings.datum.frame;
  }
  return model.frames[largestPart(model)] ?? null;
}

/** First member of the largest connected part. */
function largestPart(model: NetworkModel): number {
  const sizes = new Map<number, number>();
  for (const part of model.components) sizes.set(part, (sizes.get(part) ?? 0) + 1);
  let best = 0;
  for (const [part, size] of [...sizes].sort((a, b) => a[0] - b[0])) if (size > (sizes.get(best) ?? 0)) best = part;
  return best;
}

/** Start of the centred frames and of the points; null for those that nothing ties to the datum. */
function startNetwork(
  model: NetworkModel,
  settings: AdjustNetworkOptions,
  datum: number,
): { poses: readonly (Pose | null)[]; points: readonly (Vec3 | null)[] } {
  const frameCount = model.frames.length;
  const reached = new Set<number>();
  const isInner = settings.datum.kind === 'inner-constraints';
  if (datum >= 0) reached.add(model.components[datum]);
  else if (isInner) reached.add(largestPart(model));
  if (!isInner) {
    for (const link of model.links) {
      if (link.kind === 'prior') reached.add(model.components[link.a]);
      else if (link.kind === 'known-point') reached.add(model.components[frameCount + link.point]);
      else if (link.kind === 'distance' || link.kind === 'difference') {
        // A fixed point reaches whatever is measured to it.
        const [from, to] = [frameCount + link.from, frameCount + link.to];
        if (model.points[link.from]?.fixed) reached.add(model.components[to]);
        if (model.points[link.to]?.fixed) reached.add(model.components[from]);
      } else if (link.kind === 'target' && model.points[link.point]?.fixed)
        reached.add(model.components[link.sighting.frame]);
    }
  }
  const isReached = (member: number): boolean => reached.has(model.components[member]);
  const poses = model.frames.map((name, i): Pose | null => {
    const given = settings.start.get(name) ?? (i === datum ? IDENTITY_POSE : undefined);
    if (!given || !isReached(i)) return null;
    return localRelativePose(given, model.centres[i] as Vec3, model.jobOffset);
  });
  const points = model.points.map((point, i): Vec3 | null => {
    if (point.fixed) return point.fixed;
    const given = settings.startPoints.get(point.name);
    return given && isReached(frameCount + i) ? subtract(given, model.jobOffset) : null;
  });
  const found = findStart(model, poses, points);
  return {
    poses: found.poses.map((p, i) => (isReached(i) ? p : null)),
    points: found.points.map((p, i) => (isReached(frameCount + i) || model.points[i]?.fixed ? p : null)),
  };
}

/** Blocks at which a free network is held while it is solved: its datum frame, or three points far apart. */
function chooseHold(datumBlock: number, blockOfPoint: Int32Array, points: readonly Vec3[]): number[] {
  if (datumBlock >= 0) return [datumBlock];
  const unknown = Array.from(blockOfPoint.keys()).filter((i) => blockOfPoint[i] >= 0);
  if (unknown.length === 0) return [];
  const at = (i: number): Vec3 => points[i] as Vec3;
  const farthest = (score: (p: Vec3) => number): number =>
    unknown.reduce((best, i) => (score(at(i)) > score(at(best)) ? i : best), unknown[0] as number);
  const first = unknown[0] as number;
  const second = farthest((p) => Math.hypot(...subtract(p, at(first))));
  const along = subtract(at(second), at(first));
  const third = farthest((p) => {
    const [x, y, z] = subtract(p, at(first));
    return Math.hypot(y * along[2] - z * along[1], z * along[0] - x * along[2], x * along[1] - y * along[0]);
  });
  return [...new Set([first, second, third])].map((i) => blockOfPoint[i]).sort((a, b) => a - b);
}

function findSuspects(points: readonly PointResidual[], level: number): SuspectObservations | null {
  const limit = chiSquareQuantile(level, 3);
  let worst = 0;
  for (const p of points) worst = Math.max(worst, p.pointTest ?? 0);
  if (worst <= limit) return null;
  // Equal to a hundredth: such an observation explains the misfit as well as the worst one does.
  return { pointTest: worst, limit, observations: points.filter((p) => (p.pointTest ?? 0) >= 0.99 * worst) };
}

function reportRefusal(
  code: string,
  subject: string,
  why: { readonly message: string; readonly remedy: string },
  context: RunContext,
): void {
  context.findings.add({ severity: 'refusal', code, subject, message: why.message, remedy: why.remedy });
}
