import { describe, expect, it } from 'vitest';
import { surfaceQuality } from '../../src/fuse/index.ts';
import { quaternionOfVector } from '../../src/math/index.ts';
import { allVertices, flatScan, fuseNow, gridScan, posed, withNoise } from './test-shapes.ts';

describe('where the data ends (PoissonRecon 262, 248, 153; CGAL 6231)', () => {
  for (const tilt of [0, 0.35]) {
    it(`keeps a square hole open and grows no skirt, tilted ${tilt}`, async () => {
      const pose = { rotation: quaternionOfVector([tilt, 0.6 * tilt, 0]), translation: [0, 0, 0] } as const;
      const plate = flatScan(30, 0, 0.5, { keep: (u, v) => !(Math.abs(u - 0.5) < 0.2 && Math.abs(v - 0.5) < 0.2) });
      const scans = [posed('plate', withNoise(plate, 0.02, 'plate'), 0.02, pose)];
      const surface = await fuseNow(scans);
      const quality = surfaceQuality(surface, scans);
      expect(quality.boundaryLoopCount).toBe(2);
      expect(quality.componentCount).toBe(1);
      // A plate with a hole: V - E + F = 0.
      expect(quality.eulerNumber).toBe(0);
      expect(quality.unsupportedShare).toBe(0);
      expect(quality.largestDistanceToData).toBeLessThan(0.8 * surface.resolution);
      expect(quality.area).toBeGreaterThan(0.97 * (30 * 30 - 12 * 12));
      expect(quality.area).toBeLessThan(1.03 * (30 * 30 - 12 * 12));
    });
  }

  it('leaves the ends of a tube open', async () => {
    const tube = gridScan({
      place: (u, v) => [8 * Math.cos(2 * Math.PI * u), 8 * Math.sin(2 * Math.PI * u), 20 * (v - 0.5)],
      columns: 100,
      rows: 40,
      isClosed: true,
    });
    const scans = [posed('tube', tube, 0.02)];
    const surface = await fuseNow(scans);
    const quality = surfaceQuality(surface, scans);
    expect(quality.boundaryLoopCount).toBe(2);
    expect(quality.eulerNumber).toBe(0);
    expect(quality.unsupportedShare).toBe(0);
    for (const [, , z] of allVertices(surface)) expect(Math.abs(z)).toBeLessThan(10 + 0.6 * surface.resolution);
  });

  it('puts nothing behind a sheet seen from one side (tsdf-fusion 22, 24)', async () => {
    const surface = await fuseNow([posed('sheet', withNoise(flatScan(20, 0, 0.5), 0.05, 'sheet'), 0.05)]);
    const quality = surfaceQuality(surface, null);
    expect(quality.componentCount).toBe(1);
    expect(quality.boundaryLoopCount).toBe(1);
    for (const [, , z] of allVertices(surface)) expect(Math.abs(z)).toBeLessThan(0.3);
    for (let i = 2; i < surface.normals.length; i += 3) expect(surface.normals[i]).toBeGreaterThan(0.7);
  });

  it('closes gaps below the resolution only, and says so', async () => {
    const pierced = flatScan(20, 0, 0.5, { keep: (u, v) => Math.hypot(u - 0.5, v - 0.5) > 0.02 });
    const fine = await fuseNow([posed('a', pierced, 0.01)], { resolution: 2 });
    expect(surfaceQuality(fine, null).boundaryLoopCount).toBe(1);
    const open = flatScan(20, 0, 0.5, { keep: (u, v) => Math.hypot(u - 0.5, v - 0.5) > 0.2 });
    const coarse = await fuseNow([posed('a', open, 0.01)], { resolution: 2 });
    expect(surfaceQuality(coarse, null).boundaryLoopCount).toBe(2);
  });

  it('removes loose specks and counts them', async () => {
    const speck = flatScan(1, 6, 0.5);
    const surface = await fuseNow([posed('a', flatScan(20, 0, 0.5), 0.02), posed('b', speck, 0.02)]);
    expect(surfaceQuality(surface, null).componentCount).toBe(1);
    expect(surface.findings.some((finding) => finding.code === 'fuse/specks')).toBe(true);
    const kept = await fuseNow([posed('a', flatScan(20, 0, 0.5), 0.02), posed('b', speck, 0.02)], { speckArea: 0 });
    expect(surfaceQuality(kept, null).componentCount).toBe(2);
  });
});
