import { describe, expect, it } from 'vitest';
import { surfaceQuality } from '../../src/fuse/index.ts';
import { quaternionOfVector } from '../../src/math/index.ts';
import type { ScanData } from '../../src/model/index.ts';
import { allVertices, flatScan, fuseNow, gridScan, posed, withNoise } from './test-shapes.ts';

describe('rough input', () => {
  const shell = gridScan({
    place: (u, v) => [12 * Math.sin(2.4 * (u - 0.5)), (v - 0.5) * 20, 12 * Math.cos(2.4 * (u - 0.5))],
    columns: 58,
    rows: 40,
  });

  for (const noise of [0.15, 0.35]) {
    it(`noise of ${noise} mm at 0.5 mm spacing still gives one clean skin at a resolution that suits`, async () => {
      const scans = [0, 1].map((n) => posed(`scan-${n}`, withNoise(shell, noise, `rough-${n}`), noise));
      const surface = await fuseNow(scans);
      expect(surface.resolution).toBeGreaterThanOrEqual(4 * noise - 1e-9);
      const quality = surfaceQuality(surface, scans);
      expect(quality.componentCount).toBe(1);
      expect(quality.boundaryLoopCount).toBe(1);
      expect(quality.doubleSkinShare).toBeLessThanOrEqual(1e-4);
      const errors = allVertices(surface).map(([x, , z]) => Math.hypot(x, z) - 12);
      const rms = Math.sqrt(errors.reduce((sum, e) => sum + e * e, 0) / errors.length);
      expect(rms).toBeLessThan(0.5 * noise);
      expect(Math.abs(errors.reduce((sum, e) => sum + e, 0) / errors.length)).toBeLessThan(0.1 * noise);
    });
  }

  it('loose triangles, as from an STL file, are no borders', async () => {
    const joined = flatScan(16, 0, 0.5);
    const corners = joined.triangles as Uint32Array;
    const positions = new Float32Array(3 * corners.length);
    corners.forEach((v, n) => {
      positions.set(joined.positions.subarray(3 * v, 3 * v + 3), 3 * n);
    });
    const loose: ScanData = { ...joined, positions, triangles: Uint32Array.from(corners, (_, n) => n) };
    const a = await fuseNow([posed('a', joined, 0.02)]);
    const b = await fuseNow([posed('a', loose, 0.02)]);
    expect(b.triangles).toEqual(a.triangles);
    expect(b.positions).toEqual(a.positions);
  });

  it('a drawn box of twelve triangles closes', async () => {
    const half = 30;
    const positions = [-1, -1, -1, 1, -1, -1, 1, 1, -1, -1, 1, -1, -1, -1, 1, 1, -1, 1, 1, 1, 1, -1, 1, 1];
    const box: ScanData = {
      origin: [0, 0, 0],
      positions: Float32Array.from(positions, (value) => half * value),
      normals: null,
      colors: null,
      triangles: Uint32Array.from([
        0, 2, 1, 0, 3, 2, 4, 5, 6, 4, 6, 7, 0, 1, 5, 0, 5, 4, 1, 2, 6, 1, 6, 5, 2, 3, 7, 2, 7, 6, 3, 0, 4, 3, 4, 7,
      ]),
      viewpoint: null,
    };
    const pose = { rotation: quaternionOfVector([0.3, 0.2, 0.1]), translation: [0, 0, 0] } as const;
    for (const resolution of [null, 2]) {
      const surface = await fuseNow([posed('box', box, 0.01, pose)], { resolution });
      const quality = surfaceQuality(surface, null);
      expect(quality.eulerNumber).toBe(2);
      expect(quality.boundaryLoopCount).toBe(0);
      expect(quality.area / (24 * half * half)).toBeGreaterThan(0.93);
    }
  });
});
