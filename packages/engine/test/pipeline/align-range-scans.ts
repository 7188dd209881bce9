import {
  type AlignmentResult,
  alignScans,
  compose,
  invert,
  makeRandom,
  makeRunContext,
  makeSerialRunner,
  PIPELINE_TASKS,
  type Pose,
} from '@lapjoint/engine';
import { movedScan, randomPose } from './moved-scan.ts';
import { deviationsFromTruth, type PlacedDeviation } from './placed-scans.ts';
import type { PublishedScan } from './range-scans.ts';

/** Throws every scan into a frame of its own, aligns from nothing, and compares with the published poses. */
export async function alignFromRandomFrames(
  published: readonly PublishedScan[],
  seed: number,
): Promise<{
  readonly result: AlignmentResult;
  readonly deviations: readonly (PlacedDeviation | null)[];
  /** Poses of the scans as published, before they were thrown into frames of their own. */
  readonly jobFromScan: readonly (Pose | null)[];
}> {
  const random = makeRandom(seed, 'start');
  const starts = published.map(() => randomPose(random, 5000 / Math.sqrt(3)));
  const scans = published.map(({ scan }, i) => movedScan(scan, starts[i] as never));
  const result = await alignScans(
    {
      frames: published.map(({ name }) => name),
      scans: scans.map((data, i) => {
        const { name } = published[i] as PublishedScan;
        return { id: name, name, frame: name, data, noise: null };
      }),
      targetLists: [],
      ties: [],
    },
    {},
    makeSerialRunner(PIPELINE_TASKS),
    makeRunContext(),
  );
  const truth = published.map(({ worldFromScan }, i) => compose(worldFromScan, invert(starts[i] as never)));
  const jobFromScan = result.frames.map(({ jobFromFrame }, i) =>
    jobFromFrame === null ? null : compose(jobFromFrame, starts[i] as Pose),
  );
  return { result, deviations: deviationsFromTruth(scans, result, truth), jobFromScan };
}
