import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { cabinCovariance, rowOfPoints, writePlacedJob } from '../../../jobs/test/fixtures/placed-job.ts';
import { lapjoint } from '../fixtures/recorded-console.ts';
import { temporaryFolder } from '../fixtures/small-scans.ts';

const job = join(temporaryFolder(), 'cabin');
await writePlacedJob(job, {
  sessions: [
    { name: 'outside', frame: 'outside', instrument: 'tracked-laser' },
    { name: 'inside', frame: 'inside', instrument: 'unknown' },
  ],
  points: [rowOfPoints(0, 3000, 5, 0), rowOfPoints(0, 3000, 5, 200)],
  covariance: cabinCovariance(),
});

describe('uncertainty', () => {
  it('says of a place whose it is, how uncertain in each direction, and why', async () => {
    const run = await lapjoint(['uncertainty', job, '--at', '3000, 200, 4']);
    expect(run.exitCode).toBe(0);
    // Two digits of U = 0.63 mm; coordinates to the same place.
    expect(run.out).toContain('Place (3000.00, 200.00, 4.00) mm of frame inside');
    expect(run.out).toContain('in inside.ply (scan-2)');
    expect(run.out).toContain('U = 0.63 mm (k = 2, most uncertain direction)');
    expect(run.out).toMatch(/ties between frames +0\.63 mm/);
    expect(run.out).toMatch(/scale and temperature +0\.60 mm/);
    expect(run.out).toMatch(/instrument +not known, not counted/);
    expect(run.error).toContain('run align again');
  });

  it('prints one document with units in its keys, and a distance with its own uncertainty', async () => {
    const words = ['--at=-0,0,0', '--to', '3000 0 4', '--to-frame', 'outside', '--json'];
    const run = await lapjoint(['uncertainty', job, ...words]);
    expect(run.exitCode).toBe(0);
    const document = JSON.parse(run.out);
    expect(document).toMatchObject({
      schema: 'lapjoint/uncertainty',
      schemaVersion: 1,
      coverageFactor: 2,
      points: [
        { frame: 'outside', nearestScan: { scan: 'scan-1', distanceMm: 0 }, expandedParts: { tiesMm: 0 } },
        { frame: 'outside' },
      ],
    });
    expect(document.points[0].covarianceMm2).toHaveLength(3);
    const { distance } = document;
    // 15e-6 of 3 m, and both ends' points: 0.03 mm of noise and the sheet's 0.04 mm between them.
    expect(distance.expandedMm / 2).toBeCloseTo(Math.sqrt(0.045 ** 2 + 2 * 0.03 ** 2 + 0.04 ** 2), 5);
    const text = (await lapjoint(['uncertainty', job, ...words.slice(0, -1)])).out;
    expect(text).toMatch(/Distance = 3000\.00 mm ± 0\.15 mm \(k = 2\)/);
  });

  it('refuses a place far from all scans with exit code 4, and nonsense with 2', async () => {
    const far = await lapjoint(['uncertainty', job, '--at', '0,9000,0']);
    expect(far.exitCode).toBe(4);
    expect(far.error).toContain('code: point-without-scan');
    expect((await lapjoint(['uncertainty', job, '--at', '0,1'])).exitCode).toBe(2);
    expect((await lapjoint(['uncertainty', job, '--at', 'a,b,c'])).exitCode).toBe(2);
    expect((await lapjoint(['uncertainty', job])).exitCode).toBe(2);
    expect((await lapjoint(['uncertainty', job, '--at', '0,0,0', '--frame', 'roof'])).exitCode).toBe(2);
  });
});
