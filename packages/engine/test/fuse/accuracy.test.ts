import { describe, expect, it } from 'vitest';
import { surfaceQuality } from '../../src/fuse/index.ts';
import type { Vec3 } from '../../src/math/index.ts';
import { type Pose, quaternionOfVector, transformPoint } from '../../src/math/index.ts';
import { allVertices, fuseNow, gridScan, posed, sphereScan, withNoise } from './test-shapes.ts';

const mean = (values: readonly number[]): number => values.reduce((sum, value) => sum + value, 0) / values.length;

describe('accuracy against known shapes', () => {
  it('a ball keeps its radius, area and Euler number, without the bias of averaged planes or of facets', async () => {
    // Planes averaged over the kernel would lie about 0.28 h^2/R = 0.03 mm too far out, facets 0.02 mm too far in.
    const surface = await fuseNow([posed('ball', sphereScan(20, 60), 0.01)]);
    const errors = allVertices(surface).map((vertex) => Math.hypot(...vertex) - 20);
    expect(Math.abs(mean(errors))).toBeLessThan(0.005);
    for (const deviation of errors) expect(Math.abs(deviation)).toBeLessThan(0.012);
    const quality = surfaceQuality(surface, null);
    expect(quality.eulerNumber).toBe(2);
    expect(quality.boundaryLoopCount).toBe(0);
    expect(quality.area / (4 * Math.PI * 400)).toBeCloseTo(1, 2);
  });

  it('a noisy ball has no bias larger than its standard error', async () => {
    const surface = await fuseNow([posed('ball', withNoise(sphereScan(20, 60), 0.1, 'ball'), 0.1)]);
    const errors = allVertices(surface).map((vertex) => Math.hypot(...vertex) - 20);
    expect(Math.abs(mean(errors))).toBeLessThan(0.012);
    const rms = Math.sqrt(mean(errors.map((e) => e * e)));
    expect(rms).toBeLessThan(0.1);
  });

  it('a ring has Euler number 0 and its area 4 pi^2 R r', async () => {
    const ring = gridScan({
      place: (u, v) => {
        const a = 2 * Math.PI * u;
        const b = 2 * Math.PI * v;
        return [(15 + 5 * Math.cos(b)) * Math.cos(a), (15 + 5 * Math.cos(b)) * Math.sin(a), 5 * Math.sin(b)];
      },
      columns: 140,
      rows: 48,
      isClosed: true,
    });
    const surface = await fuseNow([posed('ring', ring, 0.01)]);
    const quality = surfaceQuality(surface, null);
    expect(quality.eulerNumber).toBe(0);
    expect(quality.boundaryLoopCount).toBe(0);
    expect(quality.area / (4 * Math.PI ** 2 * 75)).toBeCloseTo(1, 2);
  });

  for (const tilt of [0, 0.4]) {
    it(`a box of six separate faces closes at its edges, tilted ${tilt}`, async () => {
      const half = 8;
      const face = (place: (a: number, b: number) => Vec3) =>
        gridScan({ place: (u, v) => place((2 * u - 1) * half, (2 * v - 1) * half), columns: 32, rows: 32 });
      const pose: Pose = { rotation: quaternionOfVector([tilt, 0.7 * tilt, 0.2 * tilt]), translation: [0, 0, 0] };
      const scans = [
        face((a, b) => [a, b, half]),
        face((a, b) => [b, a, -half]),
        face((a, b) => [b, half, a]),
        face((a, b) => [a, -half, b]),
        face((a, b) => [half, a, b]),
        face((a, b) => [-half, b, a]),
      ].map((scan, n) => posed(`face-${n}`, scan, 0.01, pose));
      const surface = await fuseNow(scans);
      const quality = surfaceQuality(surface, scans);
      expect(quality.eulerNumber).toBe(2);
      expect(quality.boundaryLoopCount).toBe(0);
      expect(quality.area / (6 * 16 * 16)).toBeCloseTo(1, 1);
      const inverse: Pose = {
        rotation: [pose.rotation[0], -pose.rotation[1], -pose.rotation[2], -pose.rotation[3]],
        translation: [0, 0, 0],
      };
      for (const vertex of allVertices(surface)) {
        const off = Math.max(...transformPoint(inverse, vertex).map(Math.abs)) - half;
        expect(off).toBeLessThan(0.02);
        expect(off).toBeGreaterThan(-0.5 * surface.resolution);
      }
    });
  }
});
