import {
  type AdjustNetworkOptions,
  adjustAndNameSuspects,
  adjustNetwork,
  groupByInstrument,
  JUDGE_TIES_DEFAULTS,
  type NetworkAdjustment,
} from '../adjust/index.ts';
import { makeRunContext, type RunContext } from '../base/index.ts';
import type { OverlapWeights } from '../covariance/index.ts';
import { compose, invert, type Pose, type Vec3 } from '../math/index.ts';
import type { InstrumentErrors, NetworkObservation, OverlapCorrelation, OverlapObservation } from '../model/index.ts';
import { compareScans } from '../register/index.ts';
import type { AlignInput } from './align-input.ts';
import type { AlignOptions } from './align-options.ts';
import type { KnownLinks } from './known-links.ts';
import { findMovedPartsOfRound, type PairPart } from './moved-parts-round.ts';
import { measureOverlaps, motionOfSphere, type PairMemory, pairsInReach, type RoundScan } from './overlap-round.ts';
import type { TaskRunner } from './task-runner.ts';
import { type WeighedRound, weighRound } from './weigh-round.ts';

/** Rounds over which a swing is watched. */
const SWING_ROUNDS = 4;

/** Searches for moved parts, with the frames settled anew between them: the third finds the parts of the second. */
const MOST_SEARCHES = 4;

/** All frames where they stay, with the last adjustment. */
export interface SettledFrames {
  readonly adjustment: NetworkAdjustment;
  readonly instruments: readonly InstrumentErrors[];
  readonly rounds: number;
  readonly isSettled: boolean;
  /** Parts that moved between two scans, and the scans; what the last overlaps left out. */
  readonly movedParts: readonly PairPart[];
}

/** What settling needs all the way. */
interface Settling {
  readonly input: AlignInput;
  readonly scans: readonly RoundScan[];
  readonly fixed: readonly NetworkObservation[];
  readonly poses: Map<string, Pose>;
  readonly memory: Map<string, PairMemory>;
  /** Frames in the order of the scans themselves; only the last adjustment holds the job's own frame. */
  readonly ownFrames: readonly string[];
  readonly spacing: number;
  readonly noise: number;
  readonly settings: AlignOptions;
  readonly runner: TaskRunner;
}

/**
 * Rounds of measuring all overlaps and adjusting all frames until nothing moves; then the overlaps are weighed by the errors
 * that they show, and the frames adjusted with these weights.
 *
 * @param poses of the placed frames; moved where they settle
 * @param coarseSpacing of the search that found them, mm
 */
export async function settleFrames(
  input: AlignInput,
  allScans: readonly RoundScan[],
  known: KnownLinks,
  poses: Map<string, Pose>,
  coarseSpacing: number,
  settings: AlignOptions,
  runner: TaskRunner,
  context: RunContext,
): Promise<SettledFrames> {
  rebase(poses, input.frames);
  const scans = inOwnOrder(allScans);
  const settling: Settling = {
    input,
    scans,
    fixed: known.observations.filter((o) => placedWith(o, poses)),
    poses,
    memory: new Map(),
    ownFrames: [...new Set([...scans.map((scan) => scan.frame), ...input.frames])].filter((frame) => poses.has(frame)),
    spacing: Math.max(0, ...scans.map((scan) => scan.keyed.scan.spacing)),
    noise: Math.min(Infinity, ...scans.map((scan) => scan.keyed.scan.noise)),
    settings,
    runner,
  };
  const even = await settleEvenly(settling, coarseSpacing, context.part(0, 0.7));
  const steady = await settleWithoutMovedParts(settling, even, context.part(0.7, 0.8));
  return { ...(await settleWeighed(settling, context.part(0.8, 1))), ...steady };
}

/** Looks for parts that moved, and settles the frames without them, until what is left out stays the same. */
async function settleWithoutMovedParts(
  settling: Settling,
  even: Pick<SettledFrames, 'rounds' | 'isSettled'>,
  context: RunContext,
): Promise<Pick<SettledFrames, 'rounds' | 'isSettled' | 'movedParts'>> {
  const { scans, poses, spacing, memory, runner } = settling;
  let { rounds, isSettled } = even;
  for (let search = 1; ; search++) {
    context.progress(0, 'looking for parts that moved');
    const pairs = pairsInReach(scans, poses, 3 * spacing);
    const found = await findMovedPartsOfRound(pairs, poses, memory, runner, context.part(0, 0.3));
    if (!found.hasChanged || search === MOST_SEARCHES) return { rounds, isSettled, movedParts: found.parts };
    const again = await settleEvenly(settling, 0, context.part(0.3, 1));
    rounds += again.rounds;
    isSettled = again.isSettled;
  }
}

/** Every match counts alike: quick, and near enough for the matches to be the last ones. */
async function settleEvenly(
  settling: Settling,
  coarseSpacing: number,
  context: RunContext,
): Promise<{ readonly rounds: number; readonly isSettled: boolean }> {
  const { scans, spacing, noise, settings } = settling;
  // The reach of matches halves from round to round, from where a coarse pose may be off down to the data's own spacing.
  let gate = 2 * coarseSpacing;
  const motions: number[] = [];
  for (let round = 1; ; round++) {
    const isFine = gate <= 3 * spacing;
    const from = Math.min(0.95, (round - 1) / settings.maxRounds);
    context.progress(from, `round ${round}: measuring overlaps`);
    const part = context.part(from, Math.min(0.95, round / settings.maxRounds));
    const overlaps = await measureRound(settling, isFine ? 0 : gate, part);
    const moved = follow(settling, await adjustRound(settling, overlaps, [], settling.ownFrames, quiet(context)));
    if (isFine) motions.push(moved);
    const isSettled = isFine && (scans.length === 0 || hasSettled(motions, noise, settings));
    if (isSettled || round >= settings.maxRounds) return { rounds: round, isSettled };
    if (!isFine) gate /= 2;
  }
}

/** Ties that contradict each other so much come once in a hundred jobs when the learned errors are true. */
const LEARNED_LEVEL = 0.01;

/**
 * The overlaps weighed by the errors they show. Where the learned covariance is true, its inverse gives the best weights; the
 * ties' agreement says whether it is, and where it is not every match counts alike. Either way the weights move the frames by
 * a small part of their uncertainty, and the matches are found once more before the last adjustment.
 */
async function settleWeighed(
  settling: Settling,
  context: RunContext,
): Promise<Pick<SettledFrames, 'adjustment' | 'instruments'>> {
  const { input, scans, poses, memory, runner } = settling;
  const measure = async (weights: OverlapWeights, before: WeighedRound | null, part: RunContext) => {
    const overlaps = await measureRound(settling, 0, part.part(0, 0.4));
    return weighRound(overlaps, scans, memory, weights, before, runner, part.part(0.4, 1));
  };
  const first = await measure('learned', null, context.part(0, 0.6));
  const trial = await adjustRound(settling, first.overlaps, first.correlations, settling.ownFrames, quiet(context));
  const isBelieved = trial.globalTest === null || trial.globalTest.probability >= LEARNED_LEVEL;
  if (isBelieved) follow(settling, trial);
  else reportUneven(context);
  const last = await measure(isBelieved ? 'learned' : 'even', first, context.part(0.6, 0.9));
  const datum = rebase(poses, input.frames);
  const jobFrames = [datum, ...input.frames.filter((frame) => poses.has(frame) && frame !== datum)];
  const adjustment = await adjustLast(settling, last.overlaps, last.correlations, jobFrames, context.part(0.9, 1));
  await context.checkpoint(1, 'all frames adjusted');
  return { adjustment, instruments: last.instruments };
}

function reportUneven(context: RunContext): void {
  context.findings.add({
    severity: 'note',
    code: 'errors-uneven',
    subject: 'alignment',
    message:
      "The scans' errors are not alike everywhere: weighed as if they were, the overlaps contradict each other. Every match counts alike instead.",
    remedy:
      'Usual for scans that bend or have rough spots. The stated uncertainty allows for it; the tests of the ties say whether more is wrong.',
  });
}

/** A context whose findings nobody sees: those of the last adjustment count. */
function quiet(context: RunContext): RunContext {
  return makeRunContext({ seed: context.seed, signal: context.signal });
}

function measureRound(settling: Settling, gate: number, context: RunContext): Promise<OverlapObservation[]> {
  const { scans, poses, spacing, memory, runner } = settling;
  const pairs = pairsInReach(scans, poses, Math.max(gate, 3 * spacing));
  return measureOverlaps(pairs, poses, gate, memory, runner, context);
}

/** Poses only: the ties are judged when everything has settled. */
function adjustRound(
  settling: Settling,
  overlaps: readonly OverlapObservation[],
  correlations: readonly OverlapCorrelation[],
  frames: readonly string[],
  context: RunContext,
): Promise<NetworkAdjustment> {
  const options = { ...adjustOptions(settling, correlations, frames), judge: null };
  return adjustNetwork([...settling.fixed, ...overlaps], options, context);
}

/** The last adjustment: with the tests of all ties, whose suspects are named and stay in. */
async function adjustLast(
  settling: Settling,
  overlaps: readonly OverlapObservation[],
  correlations: readonly OverlapCorrelation[],
  frames: readonly string[],
  context: RunContext,
): Promise<NetworkAdjustment> {
  const instruments = new Map(
    settling.input.scans.flatMap((s) => (s.instrument ? [[s.frame, s.instrument.name] as const] : [])),
  );
  const judge = { ...JUDGE_TIES_DEFAULTS, componentGroup: groupByInstrument(instruments) };
  const options = { ...adjustOptions(settling, correlations, frames), judge };
  return (await adjustAndNameSuspects([...settling.fixed, ...overlaps], options, context)).adjustment;
}

function adjustOptions(
  { fixed, scans, poses, input }: Settling,
  correlations: readonly OverlapCorrelation[],
  frames: readonly string[],
): Partial<AdjustNetworkOptions> {
  return {
    frames: frames.map((frame) => ({ frame, ...centreOf(frame, scans) })),
    start: poses,
    datum: { kind: 'fixed-frame', frame: frames[0] },
    correlations,
    scaleTerms: input.scaleTerms ?? [],
    // Many points, many tests: together they raise a false alarm in one job of twenty.
    pointTestLevel: Math.min(0.001, 0.05 / Math.max(1, fixed.length)),
  };
}

/** Moves the frames to where the adjustment has them; gives the farthest that any of their points went, mm. */
function follow({ scans, poses }: Settling, adjustment: NetworkAdjustment): number {
  let moved = 0;
  for (const frame of adjustment.frames) {
    const before = poses.get(frame.frame);
    if (frame.jobFromFrame === null || before === undefined) continue;
    for (const scan of scans) {
      if (scan.frame !== frame.frame) continue;
      moved = Math.max(moved, motionOfSphere(before, frame.jobFromFrame, scan.middle, scan.reach));
    }
    poses.set(frame.frame, frame.jobFromFrame);
  }
  return moved;
}

/**
 * Settled: nothing moves by more than a small share of the noise; or a few matches at a threshold change sides again and
 * again, so that the frames swing without coming nearer, by an amount that is still far below the noise.
 */
function hasSettled(motions: readonly number[], noise: number, settings: AlignOptions): boolean {
  const last = motions[motions.length - 1];
  if (last <= settings.settledShare * noise) return true;
  const before = motions.slice(-1 - SWING_ROUNDS, -1);
  const isSwinging = before.length === SWING_ROUNDS && last > 0.5 * Math.max(...before);
  return isSwinging && Math.max(last, ...before) <= settings.swingShare * noise;
}

function placedWith(observation: NetworkObservation, poses: ReadonlyMap<string, Pose>): boolean {
  if (observation.kind === 'target' || observation.kind === 'prior') return poses.has(observation.frame);
  return poses.has(observation.frameA) && poses.has(observation.frameB);
}

/** Centre and rms radius of a frame's scans, in the frame. */
function centreOf(
  frame: string,
  scans: readonly RoundScan[],
): { readonly centre: Vec3 | null; readonly radius: number | null } {
  const own = scans.filter((scan) => scan.frame === frame).map((scan) => scan.keyed.scan);
  if (own.length === 0) return { centre: null, radius: null };
  const count = own.reduce((sum, scan) => sum + scan.border.length, 0);
  const centre = [0, 1, 2].map(
    (k) => own.reduce((sum, scan) => sum + scan.border.length * (scan.origin[k] + scan.centroid[k]), 0) / count,
  ) as unknown as Vec3;
  const squares = own.reduce((sum, scan) => {
    const d = Math.hypot(...scan.origin.map((v, k) => v + scan.centroid[k] - centre[k]));
    return sum + scan.border.length * (scan.radius ** 2 + d * d);
  }, 0);
  return { centre, radius: Math.sqrt(squares / count) };
}

/** The scans in an order that comes from themselves, so that the order of the files leaves no trace in the result. */
function inOwnOrder(scans: readonly RoundScan[]): RoundScan[] {
  return [...scans].sort((a, b) => compareScans(a.keyed.scan, b.keyed.scan));
}

/** Makes the first placed frame the job's frame, and names it. */
export function rebase(poses: Map<string, Pose>, frames: readonly string[]): string {
  const base = frames.find((frame) => poses.has(frame)) as string;
  const baseFromCommon = invert(poses.get(base) as Pose);
  for (const [frame, pose] of poses) {
    poses.set(
      frame,
      frame === base ? { rotation: [1, 0, 0, 0], translation: [0, 0, 0] } : compose(baseFromCommon, pose),
    );
  }
  return base;
}
