import { makeRunContext, type Pose, type PreparedScan, prepareScan } from '@lapjoint/engine';
import { beforeAll, describe, expect, it } from 'vitest';
import { alignFromRandomFrames } from './align-range-scans.ts';
import { robustOverlapRms } from './overlap-rms.ts';
import { type PublishedScan, RANGE_SCANS, readPublishedScans } from './range-scans.ts';

// Stanford 3D Scanning Repository, bunny, range data of 1996: ten scans, poses of bun.conf. The poses are the
// publisher's own registration, good to some tenths of a millimetre; 1 degree and 1.5 mm tell a right pose from a wrong one.
describe.skipIf(RANGE_SCANS === null)('ten real range scans from nothing, one start', () => {
  let published: PublishedScan[] = [];
  const prepared: PreparedScan[] = [];
  let publishedRms = 0;
  beforeAll(async () => {
    published = await readPublishedScans(RANGE_SCANS as string);
    for (const { scan } of published) prepared.push(await prepareScan(scan, {}, makeRunContext()));
    publishedRms = robustOverlapRms(
      prepared,
      published.map(({ worldFromScan }) => worldFromScan),
    );
  });

  it.each([1])(
    'seed %i: every scan within 1 degree and 1.5 mm of its published pose, or refused by name',
    async (seed) => {
      const { result, deviations, jobFromScan } = await alignFromRandomFrames(published, seed);
      let placed = 0;
      deviations.forEach((deviation, i) => {
        const frame = result.frames[i];
        if (deviation === null) {
          expect(frame?.status, frame?.frame).toBe('refused');
          expect(frame?.message.length).toBeGreaterThan(10);
          return;
        }
        placed++;
        expect(deviation.angleDeg, frame?.frame).toBeLessThan(1);
        expect(deviation.rms, frame?.frame).toBeLessThan(1.5);
      });
      expect(placed).toBe(10);
      expect(result.converged).toBe(true);
      // Not worse than the publisher's own registration, over all overlaps.
      expect(robustOverlapRms(prepared, jobFromScan as readonly Pose[])).toBeLessThanOrEqual(publishedRms);
    },
    600_000,
  );
});
