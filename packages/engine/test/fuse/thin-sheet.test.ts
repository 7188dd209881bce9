import { describe, expect, it } from 'vitest';
import { surfaceQuality } from '../../src/fuse/index.ts';
import {
  invert,
  multiplyQuaternions,
  type Pose,
  quaternionOfVector,
  rotate,
  transformPoint,
} from '../../src/math/index.ts';
import { allVertices, flatScan, fuseNow, gridScan, posed, withNoise } from './test-shapes.ts';

const tilted = (aboutX: number, aboutY: number): Pose => ({
  rotation: multiplyQuaternions(quaternionOfVector([aboutX, 0, 0]), quaternionOfVector([0, aboutY, 0])),
  translation: [3, -2, 5],
});

/** Mean heights of the two skins in the plate's own frame. */
async function fusePlate(thickness: number, noise: number, pose: Pose) {
  const size = 14;
  const scans = [
    posed('front', withNoise(flatScan(size, thickness / 2, 0.4), noise, 'front'), Math.max(noise, 0.01), pose),
    posed(
      'back',
      withNoise(flatScan(size, -thickness / 2, 0.4, { isFlipped: true }), noise, 'back'),
      Math.max(noise, 0.01),
      pose,
    ),
  ];
  const surface = await fuseNow(scans, { resolution: 0.4 });
  const plateFromJob = invert(pose);
  const front: number[] = [];
  const back: number[] = [];
  allVertices(surface).forEach((vertex, i) => {
    const [x, y, z] = transformPoint(plateFromJob, vertex);
    if (Math.abs(x) > size / 2 - 1 || Math.abs(y) > size / 2 - 1) return;
    const n = surface.normals;
    const facing = rotate(plateFromJob.rotation, [n[3 * i], n[3 * i + 1], n[3 * i + 2]])[2];
    (facing > 0 ? front : back).push(z);
  });
  return { surface, scans, front, back };
}

const mean = (values: readonly number[]): number => values.reduce((sum, value) => sum + value, 0) / values.length;

describe('thin sheet scanned from both sides', () => {
  const tilts: readonly (readonly [number, number])[] = [
    [0, 0],
    [0.2, 0.1],
    [Math.PI / 4, 0],
    [Math.PI / 4, Math.atan(Math.SQRT1_2)],
    [1.2, 0.4],
  ];
  for (const [aboutX, aboutY] of tilts) {
    it(`stays two skins 1 mm apart at 0.4 mm spacing, tilted ${aboutX.toFixed(2)} ${aboutY.toFixed(2)}`, async () => {
      const { surface, scans, front, back } = await fusePlate(1, 0.03, tilted(aboutX, aboutY));
      expect(Math.abs(mean(front) - mean(back) - 1)).toBeLessThan(0.005);
      // Every place, not only the mean: 0.05 mm is 1.2 standard deviations of the difference of two points.
      for (const z of front) expect(Math.abs(z - 0.5)).toBeLessThan(0.1);
      for (const z of back) expect(Math.abs(z + 0.5)).toBeLessThan(0.1);
      const sorted = (values: number[]): number[] => values.map(Math.abs).sort((a, b) => a - b);
      expect(Math.abs(sorted(front)[Math.floor(0.95 * front.length)] - 0.5)).toBeLessThan(0.05);
      const quality = surfaceQuality(surface, scans);
      expect(quality.componentCount).toBe(2);
      expect(quality.boundaryLoopCount).toBe(2);
      expect(quality.doubleSkinShare).toBeLessThan(1e-6);
      expect(quality.unsupportedShare).toBe(0);
      expect(quality.area / (2 * 14 * 14)).toBeCloseTo(1, 1);
    });
  }

  it('stays two skins when it is thinner than the resolution', async () => {
    for (const thickness of [0.3, 0.15]) {
      const { surface, front, back } = await fusePlate(thickness, 0, tilted(0.5, 0.3));
      expect(mean(front) - mean(back)).toBeCloseTo(thickness, 4);
      expect(surfaceQuality(surface, null).componentCount).toBe(2);
    }
  });

  it('keeps the two skins of a pipe', async () => {
    const skin = (radius: number, isFlipped: boolean) =>
      gridScan({
        place: (u, v) => [radius * Math.cos(2 * Math.PI * u), radius * Math.sin(2 * Math.PI * u), 16 * (v - 0.5)],
        columns: Math.round((2 * Math.PI * radius) / 0.5),
        rows: 32,
        isClosed: true,
        isFlipped,
      });
    const scans = [posed('outside', skin(10, false), 0.02), posed('inside', skin(9, true), 0.02)];
    const surface = await fuseNow(scans, { resolution: 0.5 });
    allVertices(surface).forEach(([x, y], i) => {
      const radius = Math.hypot(x, y);
      const facing = x * surface.normals[3 * i] + y * surface.normals[3 * i + 1];
      expect(Math.abs(radius - (facing > 0 ? 10 : 9))).toBeLessThan(0.01);
    });
    // Two open tubes: Euler number 0, four loops.
    const quality = surfaceQuality(surface, scans);
    expect(quality.eulerNumber).toBe(0);
    expect(quality.boundaryLoopCount).toBe(4);
    expect(quality.unsupportedShare).toBe(0);
  });
});
