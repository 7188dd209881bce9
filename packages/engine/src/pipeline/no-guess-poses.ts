import type { RunContext } from '../base/index.ts';
import { compose, type Pose } from '../math/index.ts';
import {
  type AssembledScan,
  type AssemblyScan,
  assembleScans,
  chooseCoarseSpacing,
  compareScans,
  FIND_COARSE_POSES_DEFAULTS,
  type PairMatch,
  type PreparedScan,
} from '../register/index.ts';
import type { FrameGroup } from './frame-groups.ts';
import { mergePrepared } from './merge-prepared.ts';
import type { TaskRunner } from './task-runner.ts';

/** First poses of all frames in one, or the reason why a group of frames has none. */
export interface FirstPoses {
  readonly commonFromFrame: ReadonlyMap<string, Pose>;
  /** By the first frame of the group: what became of it. */
  readonly assembled: ReadonlyMap<string, AssembledScan>;
  /** Sample spacing of the search, mm: first poses are good to about half of it. 0 when nothing was searched. */
  readonly spacing: number;
}

/**
 * Places groups of frames in one frame without any guess, by the surfaces of their scans.
 *
 * @param scansOfFrame prepared scans of each frame, in frame coordinates
 */
export async function placeWithoutGuess(
  groups: readonly FrameGroup[],
  scansOfFrame: ReadonlyMap<string, readonly PreparedScan[]>,
  runner: TaskRunner,
  context: RunContext,
): Promise<FirstPoses> {
  const merged = groups
    .map((group) => ({ group, parts: partsOf(group, scansOfFrame) }))
    .filter(({ parts }) => parts.length > 0)
    .map(({ group, parts }) => ({
      group,
      scan: parts.length === 1 && group.frames.length === 1 ? parts[0].scan : mergePrepared(parts),
    }));
  const commonFromFrame = new Map<string, Pose>();
  const assembled = new Map<string, AssembledScan>();
  if (merged.length === 0) return { commonFromFrame, assembled, spacing: 0 };
  if (merged.length === 1) {
    for (const [frame, pose] of merged[0].group.groupFromFrame) commonFromFrame.set(frame, pose);
    return { commonFromFrame, assembled, spacing: 0 };
  }
  // An order that comes from the scans themselves: the order in which files came in leaves no trace in the result.
  merged.sort((x, y) => compareScans(x.scan, y.scan));
  const scans = merged.map((item) => item.scan);
  const spacing = chooseCoarseSpacing(scans, FIND_COARSE_POSES_DEFAULTS.spacingShare);
  context.progress(0, 'describing scans');
  const described = (await runner.run(
    'describe-scan',
    scans.map((scan) => ({ scan, spacing })),
    context.part(0, 0.2),
  )) as AssemblyScan[];
  const inputs = [];
  for (let i = 0; i < scans.length; i++) {
    for (let j = i + 1; j < scans.length; j++) {
      inputs.push({ source: j, target: i, sourceScan: described[j], targetScan: described[i] });
    }
  }
  context.progress(0.2, `matching ${inputs.length} pairs without a guess`);
  const pairs = (await runner.run('match-pair', inputs, context.part(0.2, 0.8))) as PairMatch[];
  const result = await assembleScans(described, pairs, context.part(0.8, 1));
  if (result.placedCount === 0) {
    // Nothing joins the groups, but the largest is still one object: its own ties hold it.
    const largest = merged.reduce((best, item) => (item.group.frames.length > best.group.frames.length ? item : best));
    if (largest.group.frames.length > 1) {
      for (const [frame, pose] of largest.group.groupFromFrame) commonFromFrame.set(frame, pose);
    }
  }
  merged.forEach(({ group }, index) => {
    const scan = result.scans[index];
    assembled.set(group.frames[0], scan);
    if (scan.assemblyFromScan === null) return;
    for (const [frame, pose] of group.groupFromFrame) commonFromFrame.set(frame, compose(scan.assemblyFromScan, pose));
  });
  return { commonFromFrame, assembled, spacing };
}

function partsOf(
  group: FrameGroup,
  scansOfFrame: ReadonlyMap<string, readonly PreparedScan[]>,
): { scan: PreparedScan; commonFromScan: Pose }[] {
  return group.frames.flatMap((frame) =>
    (scansOfFrame.get(frame) ?? []).map((scan) => ({ scan, commonFromScan: group.groupFromFrame.get(frame) as Pose })),
  );
}
