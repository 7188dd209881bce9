import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { jointCovarianceOf, openJob, uncertaintyOfJob, verifyJob } from '../../src/index.ts';
import { cabinCovariance, rowOfPoints, writePlacedJob } from '../fixtures/placed-job.ts';
import { temporaryFolder } from '../fixtures/temporary-folder.ts';

const folder = temporaryFolder();
const SESSIONS = [
  { name: 'outside', frame: 'outside', instrument: 'tracked-laser' },
  { name: 'inside', frame: 'inside', instrument: 'structured-light' },
] as const;
const LEARNED = { instrument: 'structured-light', white: 0.03, fields: [{ sigma: 0.04, length: 80 }] };

let count = 0;
async function cabinJob(): Promise<string> {
  const job = join(folder, `cabin-${count++}`);
  await writePlacedJob(job, {
    sessions: SESSIONS,
    points: [rowOfPoints(0, 3000, 5, 0), rowOfPoints(0, 3000, 5, 200)],
    covariance: cabinCovariance(),
    instrumentErrors: [{ ...LEARNED, overlapCount: 3, patchCount: 300 }],
  });
  return job;
}

const asked = (point: readonly [number, number, number], of: string | null = null) => ({ point, of });

describe('uncertainty of a place', () => {
  it('is that of the frame of the nearest scan, with the arm, the scale and the points themselves', async () => {
    const job = await cabinJob();
    const { points, distance, within } = await uncertaintyOfJob(job, {
      at: asked([3000, 200, 4]),
      to: null,
      within: null,
    });
    expect(distance).toBeNull();
    // A hundredth of 3 m and a little.
    expect(within).toBeCloseTo(30, 1);
    const [point] = points;
    expect(point).toMatchObject({ frame: 'inside', nearest: { scan: { id: 'scan-2' } } });
    // Across the arm: 0.1 mm shift and 1e-4 rad x 3 m = 0.3 mm; along it: 100e-6 x 3 m = 0.3 mm.
    expect(point?.parts.ties).toBeCloseTo(2 * Math.hypot(0.1, 1e-4 * Math.hypot(3000, 200)), 6);
    expect(point?.parts.scale).toBeCloseTo(2 * 100e-6 * Math.hypot(3000, 200, 4), 6);
    // As learned, and the constant 0.05 mm of the sheet, half of its square at either end of a length.
    expect(point?.parts.instrument).toBeCloseTo(2 * Math.hypot(0.03, 0.04, 0.05 / Math.SQRT2), 9);
    // The two do not point the same way, so the largest direction has only one of them.
    const across = 0.01 + 1e-8 * (3000 ** 2 + 200 ** 2) + 0.0025 + 0.05 ** 2 / 2;
    expect((point?.expanded ?? 0) / (2 * Math.sqrt(across))).toBeCloseTo(1, 4);
    const [a, b, c] = (point?.semiAxes ?? []).map((axis) => axis.length);
    expect(a).toBe(point?.expanded);
    expect(a).toBeGreaterThanOrEqual(b as number);
    expect(b).toBeGreaterThanOrEqual(c as number);
  });

  it('of the frame that is fixed is scale and instrument: nothing ties it', async () => {
    const job = await cabinJob();
    const { points } = await uncertaintyOfJob(job, { at: asked([2000, 0, 0]), to: null, within: null });
    expect(points[0]?.frame).toBe('outside');
    expect(points[0]?.parts.ties).toBe(0);
    expect(points[0]?.parts.scale).toBeCloseTo(2 * 15e-6 * 2000, 9);
    // No overlap was learned from: noise 0.03 mm and the constant 0.04 mm of the sheet, half of its square at either end.
    expect(points[0]?.parts.instrument).toBeCloseTo(2 * Math.hypot(0.03, 0.04 / Math.SQRT2), 9);
  });

  it('belongs to a stated frame wherever it lies; without one it is refused far from all scans', async () => {
    const job = await cabinJob();
    const far = { to: null, within: null };
    await expect(uncertaintyOfJob(job, { at: asked([1500, 3000, 0]), ...far })).rejects.toMatchObject({
      code: 'point-without-scan',
      message: expect.stringMatching(/inside\.ply, is 2\.80e\+3 mm away/),
    });
    const stated = await uncertaintyOfJob(job, { at: asked([1500, 3000, 0], 'inside.ply'), ...far });
    expect(stated.points[0]).toMatchObject({ frame: 'inside' });
    await expect(uncertaintyOfJob(job, { at: asked([0, 0, 0], 'roof'), ...far })).rejects.toMatchObject({
      code: 'unknown-name',
    });
    const near = await uncertaintyOfJob(job, { at: asked([1500, 230, 0]), to: null, within: 40 });
    expect(near.points[0]?.nearest?.distance).toBeCloseTo(30, 0);
  });
});

describe('uncertainty of a distance', () => {
  it('within one frame is scale and points alone: what moves both ends alike cancels', async () => {
    const job = await cabinJob();
    const question = { at: asked([0, 200, 0]), to: asked([3000, 200, 4]), within: null };
    const { distance } = await uncertaintyOfJob(job, question);
    expect(distance?.distance).toBeCloseTo(Math.hypot(3000, 4), 9);
    expect(distance?.parts.ties).toBeCloseTo(0, 6);
    expect(distance?.parts.scale).toBeCloseTo(2 * 100e-6 * 3000, 5);
    // Three metres apart the slow errors, 80 mm long, are strangers.
    expect(distance?.parts.instrument).toBeCloseTo(2 * Math.sqrt(2 * 0.05 ** 2 + 0.05 ** 2 * (1 - Math.exp(-9))), 5);
    const near = await uncertaintyOfJob(job, { ...question, to: asked([5, 200, 5]) });
    const share = 1 - Math.exp(-50 / 80 ** 2);
    const own = 2 * (0.03 ** 2 + 0.04 ** 2 * share) + 0.05 ** 2 * (1 - Math.exp(-50 / 1000 ** 2));
    expect(near.distance?.parts.instrument).toBeCloseTo(2 * Math.sqrt(own), 9);
  });

  it('between two frames keeps what ties them', async () => {
    const job = await cabinJob();
    const { distance } = await uncertaintyOfJob(job, {
      at: asked([3000, 0, 4]),
      to: asked([3000, 200, 4]),
      within: null,
    });
    // Along y: shift 0.1 mm and the turn at 3 m.
    expect(distance?.parts.ties).toBeCloseTo(2 * Math.hypot(0.1, 0.3), 4);
    const { standard, parts } = distance ?? { standard: 0, parts: { ties: 0, scale: 0, instrument: 0 } };
    expect(4 * standard ** 2).toBeCloseTo(parts.ties ** 2 + parts.scale ** 2 + (parts.instrument ?? 0) ** 2, 9);
  });
});

describe('the joint covariance of a job', () => {
  it('lies in a blob that verify knows, and comes back as it was', async () => {
    const job = await cabinJob();
    const store = await openJob(job);
    expect(await jointCovarianceOf(store)).toEqual(cabinCovariance());
    const report = await verifyJob(job, {});
    expect(report).toMatchObject({ intact: true, unusedBlobCount: 0 });
    expect(report.blobs.map((blob) => blob.holds)).toContain('covariance of all frames');
  });

  it('is missing in jobs of early versions, and that is said with what to do', async () => {
    const job = join(folder, 'early');
    await writePlacedJob(job, { sessions: SESSIONS, points: [[[0, 0, 0]], [[1, 0, 0]]], covariance: null });
    await expect(uncertaintyOfJob(job, { at: asked([0, 0, 0]), to: null, within: null })).rejects.toMatchObject({
      code: 'covariance-unknown',
      hint: expect.stringContaining('align --force'),
    });
  });
});
