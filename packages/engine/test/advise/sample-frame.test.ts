import { IDENTITY_POSE, sampleFrame, transformPoint, type Vec3 } from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';

/** Points every `pitch` mm over a square of 1 m, the left half ten times as dense; normals +Z. */
function plate(pitch: number): { positions: Float32Array; normals: Float32Array } {
  const positions: number[] = [];
  for (let x = 0; x < 1000; x += pitch)
    for (let y = 0; y < 1000; y += pitch) {
      positions.push(x, y, 0);
      if (x < 500) for (let k = 1; k < 10; k++) positions.push(x + (k * pitch) / 10, y, 0);
    }
  const normals = new Float32Array(positions.length);
  for (let i = 2; i < normals.length; i += 3) normals[i] = 1;
  return { positions: Float32Array.from(positions), normals };
}

const scanOf = (pitch: number, origin: Vec3) => ({ ...plate(pitch), origin, triangles: null });

describe('sampleFrame', () => {
  it('spreads samples evenly whatever the density, near the number asked for', () => {
    const sampled = sampleFrame('plate', 'scanner', [{ scan: scanOf(5, [0, 0, 0]), jobFromScan: IDENTITY_POSE }], 400);
    if (sampled === null) throw new Error('no samples');
    const count = sampled.places.length / 3;
    expect(count).toBeGreaterThan(280);
    expect(count).toBeLessThan(560);
    const left = Array.from({ length: count }, (_, i) => sampled.places[3 * i] as number).filter((x) => x < 500).length;
    expect(left / count).toBeGreaterThan(0.44);
    expect(left / count).toBeLessThan(0.56);
    // Points every 5 mm on the one half, every 0.5 mm along X on the other: 5 / sqrt(10) = 1.6 mm.
    expect(sampled.spacing).toBeGreaterThan(1);
    expect(sampled.spacing).toBeLessThan(7);
  });

  it('gives places and normals in the job, far from the origin too', () => {
    const jobFromScan = { rotation: [Math.SQRT1_2, 0, Math.SQRT1_2, 0], translation: [5e6, 0, 0] } as const;
    const origin: Vec3 = [0, 0, 1e6];
    const sampled = sampleFrame('plate', 'scanner', [{ scan: scanOf(10, origin), jobFromScan }], 100);
    if (sampled === null) throw new Error('no samples');
    // A quarter turn about Y brings +Z to +X.
    expect(sampled.normals[0]).toBeCloseTo(1, 6);
    const plane = transformPoint(jobFromScan, origin)[0];
    for (let i = 0; i < sampled.places.length; i += 3) expect(sampled.places[i]).toBeCloseTo(plane, 6);
  });

  it('takes normals from triangles or neighbours where the scan has none, and nothing from nothing', () => {
    const { positions } = plate(20);
    const cloud = { origin: [0, 0, 0] as const, positions, normals: null, triangles: null };
    const sampled = sampleFrame('plate', 'scanner', [{ scan: cloud, jobFromScan: IDENTITY_POSE }], 50);
    expect(Math.abs(sampled?.normals[2] ?? 0)).toBeCloseTo(1, 6);
    const mesh = {
      origin: [0, 0, 0] as const,
      positions: Float32Array.of(0, 0, 0, 10, 0, 0, 0, 10, 0),
      normals: null,
      triangles: Uint32Array.of(0, 1, 2),
    };
    expect(sampleFrame('t', 's', [{ scan: mesh, jobFromScan: IDENTITY_POSE }], 50)?.normals[2]).toBe(1);
    const empty = { ...mesh, positions: new Float32Array(0), triangles: null };
    expect(sampleFrame('t', 's', [{ scan: empty, jobFromScan: IDENTITY_POSE }], 50)).toBeNull();
  });
});
