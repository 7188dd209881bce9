import { makeRunContext, type Pose, type PreparedScan, prepareScan } from '@lapjoint/engine';
import { beforeAll, describe, expect, it } from 'vitest';
import { alignFromRandomFrames } from './align-range-scans.ts';
import { robustOverlapRms } from './overlap-rms.ts';
import { type PublishedScan, RANGE_SCANS, readPublishedScans } from './range-scans.ts';

/**
 * Stanford 3D Scanning Repository, bunny, range data of 1996: ten scans, poses of bun.conf. The poses are the publisher's own
 * registration, good to some tenths of a millimetre; 1 degree and 1.5 mm tell a right pose from a wrong one.
 */
export function checkRealScans(title: string, seeds: readonly number[]): void {
  describe.skipIf(RANGE_SCANS === null)(title, () => {
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

    it.each(seeds)(
      'start %i: all ten within 1 degree and 1.5 mm of the published poses, overlaps no worse than published',
      async (seed) => {
        const { result, deviations, jobFromScan } = await alignFromRandomFrames(published, seed);
        deviations.forEach((deviation, i) => {
          expect(deviation, `${result.frames[i]?.frame}: ${result.frames[i]?.message}`).not.toBeNull();
          expect(deviation?.angleDeg, result.frames[i]?.frame).toBeLessThan(1);
          expect(deviation?.rms, result.frames[i]?.frame).toBeLessThan(1.5);
        });
        expect(result.converged).toBe(true);
        expect(robustOverlapRms(prepared, jobFromScan as readonly Pose[])).toBeLessThanOrEqual(publishedRms);
      },
      600_000,
    );
  });
}
