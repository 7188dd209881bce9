import type { NetworkAdjustment } from '../adjust/index.ts';
import type { RunContext } from '../base/index.ts';
import { compose, invert, type Pose, type Vec3 } from '../math/index.ts';
import type { AlignmentResult, FramePose, TieResult } from '../model/index.ts';
import type { AssembledScan, PreparedScan } from '../register/index.ts';
import type { AlignInput } from './align-input.ts';
import { ALIGN_DEFAULTS, type AlignOptions } from './align-options.ts';
import { type FrameGroup, groupFrames } from './frame-groups.ts';
import { keyOfScan } from './interned-scan.ts';
import { findKnownLinks } from './known-links.ts';
import { describeMovedParts, reportMovedParts } from './moved-parts-round.ts';
import { type FirstPoses, placeWithoutGuess } from './no-guess-poses.ts';
import type { RoundScan } from './overlap-round.ts';
import { refinePickedLinks } from './refine-picked.ts';
import { type SettledFrames, settleFrames } from './settle-frames.ts';
import type { TaskRunner } from './task-runner.ts';
import type { PrepareTask } from './tasks.ts';

/**
 * Places all frames of a job in one: first poses, then all overlaps, targets and picked pairs adjusted together.
 *
 * Frames   the job's frame is that of the first frame, in the order given, that belongs to the largest group of frames.
 * Units    mm, rad.
 * Method   frames that common targets or picked pairs tie are grouped; groups are placed by their surfaces without a guess;
 *          then rounds of overlap measurement and network adjustment, the reach of the matches shrinking from the coarse
 *          search's spacing to three point spacings. A frame that no evidence holds is refused by name.
 * Repeats  bit for bit, for any number of workers.
 */
export async function alignScans(
  input: AlignInput,
  options: Partial<AlignOptions>,
  runner: TaskRunner,
  context: RunContext,
): Promise<AlignmentResult> {
  const settings = { ...ALIGN_DEFAULTS, ...options };
  context.progress(0, 'preparing scans');
  const scans = await prepareAll(input, runner, context.part(0, 0.2));
  const scansOfFrame = new Map<string, PreparedScan[]>();
  for (const scan of scans) {
    scansOfFrame.set(scan.frame, [...(scansOfFrame.get(scan.frame) ?? []), scan.keyed.scan]);
  }
  context.progress(0.2, 'looking for common targets and picked pairs');
  const known = await findKnownLinks(input, context.part(0.2, 0.25));
  const links = await refinePickedLinks(known.links, scans, runner, context.part(0.25, 0.3));
  const groups = groupFrames(input.frames, links);
  context.progress(0.3, 'finding first poses');
  const first = await placeWithoutGuess(groups, scansOfFrame, runner, context.part(0.3, 0.6));
  const poses = new Map(first.commonFromFrame);
  placeTargetGroups(groups, poses, scansOfFrame);
  if (poses.size === 0) return refuseAll(input, groups, first.assembled);
  const settled = await settleFrames(input, scans, known, poses, first.spacing, settings, runner, context.part(0.6, 1));
  return describe(input, groups, first, settled, context);
}

async function prepareAll(input: AlignInput, runner: TaskRunner, context: RunContext): Promise<RoundScan[]> {
  const tasks = input.scans.map((scan): PrepareTask => ({ data: scan.data, subject: scan.id, sheetNoise: scan.noise }));
  const prepared = (await runner.run('prepare-scan', tasks, context)) as PreparedScan[];
  return input.scans.map((scan, index) => {
    const ready = prepared[index];
    const { middle, reach } = sphereOf(ready);
    return {
      id: scan.id,
      name: scan.name,
      frame: scan.frame,
      instrument: scan.instrument?.name ?? 'unknown',
      errorReach: scan.instrument?.reach ?? ready.radius,
      volumetric: scan.instrument?.volumetric ?? 0,
      keyed: { key: keyOfScan(ready), scan: ready },
      middle,
      reach,
    };
  });
}

/** Middle of the box of a scan, in its frame, and half its diagonal. */
function sphereOf(scan: PreparedScan): { readonly middle: Vec3; readonly reach: number } {
  const low = [Infinity, Infinity, Infinity];
  const high = [-Infinity, -Infinity, -Infinity];
  for (let i = 0; i < scan.positions.length; i++) {
    const axis = i % 3;
    if (scan.positions[i] < low[axis]) low[axis] = scan.positions[i];
    if (scan.positions[i] > high[axis]) high[axis] = scan.positions[i];
  }
  if (!(low[0] <= high[0])) return { middle: scan.origin, reach: 0 };
  return {
    middle: [
      scan.origin[0] + (low[0] + high[0]) / 2,
      scan.origin[1] + (low[1] + high[1]) / 2,
      scan.origin[2] + (low[2] + high[2]) / 2,
    ],
    reach: Math.hypot(high[0] - low[0], high[1] - low[1], high[2] - low[2]) / 2,
  };
}

/** When no frame has a scan, the largest group that targets tie together is the job. */
function placeTargetGroups(
  groups: readonly FrameGroup[],
  poses: Map<string, Pose>,
  scansOfFrame: ReadonlyMap<string, readonly PreparedScan[]>,
): void {
  if (poses.size > 0 || scansOfFrame.size > 0) return;
  const largest = [...groups].sort((a, b) => b.frames.length - a.frames.length)[0];
  if (largest === undefined) return;
  for (const [frame, pose] of largest.groupFromFrame) poses.set(frame, pose);
}

function refuseAll(
  input: AlignInput,
  groups: readonly FrameGroup[],
  assembled: ReadonlyMap<string, AssembledScan>,
): AlignmentResult {
  return {
    frames: input.frames.map((frame) => refusedFrame(frame, groups, assembled)),
    ties: [],
    closures: [],
    varianceFactor: null,
    redundancy: 0,
    iterations: 0,
    converged: false,
    jointCovariance: null,
    globalTest: null,
    varianceComponents: [],
    instrumentErrors: [],
    movedParts: [],
  };
}

function refusedFrame(
  frame: string,
  groups: readonly FrameGroup[],
  assembled: ReadonlyMap<string, AssembledScan>,
): FramePose {
  const group = groups.find((item) => item.frames.includes(frame));
  const found = group === undefined ? undefined : assembled.get(group.frames[0]);
  return {
    frame,
    jobFromFrame: null,
    covariance: null,
    covarianceReference: null,
    status: 'refused',
    message: found?.message ?? 'It has no scan, and no common targets tie it to the rest.',
    remedy:
      found?.remedy ?? 'Add a scan of this session, targets that another session has measured too, or picked pairs.',
    rivals: [],
  };
}

/** Targets of a tie: each is observed in two frames or more. */
function countTargets(tie: string, adjustment: NetworkAdjustment): number {
  return new Set(adjustment.points.filter((point) => point.tie === tie).map((point) => point.name)).size;
}

/** In words: what holds a frame. */
function heldBy(frame: string, ties: readonly TieResult[]): string {
  const own = ties.filter((tie) => tie.status === 'used' && (tie.frameA === frame || tie.frameB === frame));
  const overlaps = own.filter((tie) => tie.kind === 'overlap');
  const parts: string[] = [];
  if (overlaps.length > 0) {
    const largest = Math.max(...overlaps.map((tie) => tie.overlapShare ?? 0));
    const count = overlaps.length === 1 ? 'one overlap' : `${overlaps.length} overlaps`;
    parts.push(`${count}, the largest ${(100 * largest).toPrecision(2)} % of the smaller scan`);
  }
  for (const tie of own) {
    if (tie.kind === 'targets') parts.push(`common targets with ${tie.frameA === frame ? tie.frameB : tie.frameA}`);
    if (tie.kind === 'picked') parts.push(`picked pairs with ${tie.frameA === frame ? tie.frameB : tie.frameA}`);
  }
  return parts.length === 0 ? '' : `Held by ${parts.join('; ')}.`;
}

/**
 * How far the place that was found without a guess is ahead of the next best one. Nothing for frames that targets or picked
 * pairs tie to the job's own: their place was not searched for.
 */
function marginWords(
  frame: string,
  groups: readonly FrameGroup[],
  assembled: ReadonlyMap<string, AssembledScan>,
  jobFrame: string | undefined,
): string {
  const group = groups.find((item) => item.frames.includes(frame));
  if (jobFrame !== undefined && group?.frames.includes(jobFrame)) return '';
  const found = group === undefined ? undefined : assembled.get(group.frames[0]);
  if (found === undefined || found.status !== 'placed') return '';
  const ahead =
    found.margin >= 0.995 ? 'no other place comes near' : `${Math.round(100 * found.margin)} % ahead of the runner-up`;
  return ` Found without a guess, ${ahead}.`;
}

/** Places in the job at which a refused frame fits about equally, best first; the margin is what each lacks of the best. */
function rivalsOf(
  frame: string,
  groups: readonly FrameGroup[],
  first: FirstPoses,
  adjusted: ReadonlyMap<string, FramePose>,
): FramePose['rivals'] {
  const group = groups.find((item) => item.frames.includes(frame));
  const found = group === undefined ? undefined : first.assembled.get(group.frames[0]);
  if (group === undefined || found === undefined || found.rivals.length === 0) return [];
  for (const [known, commonFromKnown] of first.commonFromFrame) {
    const jobFromKnown = adjusted.get(known)?.jobFromFrame;
    if (!jobFromKnown) continue;
    const jobFromCommon = compose(jobFromKnown, invert(commonFromKnown));
    const groupFromFrame = group.groupFromFrame.get(frame) as Pose;
    const best = found.rivals[0].score;
    return found.rivals.map(({ assemblyFromScan, score }) => ({
      jobFromFrame: compose(compose(jobFromCommon, assemblyFromScan), groupFromFrame),
      margin: best > 0 ? Math.max(0, 1 - score / best) : 0,
    }));
  }
  return [];
}

function describe(
  input: AlignInput,
  groups: readonly FrameGroup[],
  first: FirstPoses,
  settled: SettledFrames,
  context: RunContext,
): AlignmentResult {
  const { adjustment, rounds, isSettled } = settled;
  const byFrame = new Map(adjustment.frames.map((frame) => [frame.frame, frame]));
  const jobFrame = adjustment.frames.find((frame) => frame.status === 'fixed')?.frame;
  const frames = input.frames.map((frame): FramePose => {
    const adjusted = byFrame.get(frame);
    if (adjusted === undefined)
      return { ...refusedFrame(frame, groups, first.assembled), rivals: rivalsOf(frame, groups, first, byFrame) };
    const { jobFromFrame, covariance, covarianceReference, status, message, remedy, rivals } = adjusted;
    const said =
      message === ''
        ? `${heldBy(frame, adjustment.ties)}${marginWords(frame, groups, first.assembled, jobFrame)}`
        : message;
    return { frame, jobFromFrame, covariance, covarianceReference, status, message: said, remedy, rivals };
  });
  const placed = new Map(
    adjustment.frames.flatMap((f) => (f.jobFromFrame === null ? [] : [[f.frame, f.jobFromFrame]])),
  );
  const movedParts = describeMovedParts(settled.movedParts, placed);
  reportMovedParts(settled.movedParts, movedParts, context);
  if (!isSettled) {
    context.findings.add({
      severity: 'warning',
      code: 'align-not-settled',
      subject: 'alignment',
      message: `The frames were still moving after ${rounds} rounds.`,
      remedy: 'Look at the ties with weak directions: picked pairs or targets there hold what the surfaces do not.',
    });
  }
  const ties = adjustment.ties.map(
    (tie): TieResult => ({
      id: tie.id,
      kind: tie.kind,
      frameA: tie.frameA,
      frameB: tie.frameB,
      scanA: tie.scanA,
      scanB: tie.scanB,
      status: tie.status,
      count: tie.kind === 'targets' ? countTargets(tie.id, adjustment) : tie.count,
      rms: tie.rms,
      largest: tie.largest,
      overlapShare: tie.overlapShare,
      weakDirections: tie.weakDirections,
      redundancy: tie.redundancy,
      test: tie.test,
      message: tie.message,
    }),
  );
  return {
    frames,
    ties,
    closures: adjustment.closures.map(({ frames: around, translation, angle }) => ({
      frames: around,
      translation,
      angle,
    })),
    varianceFactor: adjustment.varianceFactor,
    redundancy: adjustment.redundancy,
    iterations: rounds,
    converged: isSettled,
    jointCovariance: adjustment.jointCovariance,
    globalTest: adjustment.globalTest,
    varianceComponents: adjustment.varianceComponents,
    instrumentErrors: settled.instruments,
    movedParts,
    scales: adjustment.scales,
  };
}
