import {
  type AlignmentResult,
  alignScans,
  choleskyFactor,
  choleskySolve,
  compose,
  type FramePose,
  invert,
  makeRandom,
  makeRunContext,
  makeSerialRunner,
  PIPELINE_TASKS,
  type Pose,
  transformPoint,
  vectorOfQuaternion,
} from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';
import { movedScan, randomPose } from './moved-scan.ts';
import { type PublishedScan, RANGE_SCANS, readPublishedScans } from './range-scans.ts';

/** 95 % point of chi-square with six degrees of freedom. */
const CHI_SQUARE = 12.5916;

async function align(scans: readonly PublishedScan[], starts: ReadonlyMap<string, Pose>): Promise<AlignmentResult> {
  return alignScans(
    {
      frames: scans.map(({ name }) => name),
      scans: scans.map(({ name, scan }) => ({
        id: name,
        name,
        frame: name,
        data: movedScan(scan, starts.get(name) as Pose),
        noise: null,
      })),
      targetLists: [],
      ties: [],
    },
    {},
    makeSerialRunner(PIPELINE_TASKS),
    makeRunContext(),
  );
}

/** Squared length of the motion between two answers, in units of the covariance of the first. */
function normalisedMotion(full: FramePose, reduced: FramePose): number {
  const off = compose(reduced.jobFromFrame as Pose, invert(full.jobFromFrame as Pose));
  const reference = full.covarianceReference as readonly [number, number, number];
  const moved = transformPoint(off, reference);
  const motion = [...moved.map((x, k) => x - reference[k]), ...vectorOfQuaternion(off.rotation)];
  const solved = choleskySolve(choleskyFactor(full.covariance as readonly number[], 6) as Float64Array, 6, motion);
  return motion.reduce((sum, x, k) => sum + x * solved[k], 0);
}

describe.skipIf(RANGE_SCANS === null)('ten real range scans, each left out in turn', () => {
  it('moves the others by no more than their stated 95 % regions in nine of ten cases', async () => {
    const published = await readPublishedScans(RANGE_SCANS as string);
    const random = makeRandom(5, 'leave one out');
    const starts = new Map(published.map(({ name }) => [name, randomPose(random, 1000)]));
    let held = 0;
    let count = 0;
    // The datum frame cannot be left out of its own job: another one leads when the first is left out.
    for (const order of [published, [...published.slice(1), published[0] as PublishedScan]]) {
      const full = await align(order, starts);
      const left = order === published ? order.slice(1) : [published[0] as PublishedScan];
      for (const without of left) {
        const reduced = await align(
          order.filter((scan) => scan !== without),
          starts,
        );
        for (const frame of reduced.frames) {
          const before = full.frames.find((f) => f.frame === frame.frame) as FramePose;
          if (frame.status !== 'adjusted' || before.status !== 'adjusted') continue;
          count++;
          const square = normalisedMotion(before, frame);
          if (square <= CHI_SQUARE) held++;
          process.stderr.write(`${without.name} out, ${frame.frame}: ${square.toFixed(2)}\n`);
        }
      }
    }
    expect(count).toBeGreaterThanOrEqual(70);
    expect(held / count).toBeGreaterThanOrEqual(0.9);
  }, 1_800_000);
});
