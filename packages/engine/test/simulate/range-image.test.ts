import {
  buildSimulatedScene,
  captureRangeImage,
  cutPartialView,
  IDEAL_RANGE_INSTRUMENT,
  makeRunContext,
  meshFromRangeImage,
  type RangeCamera,
  type ScanData,
} from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';

/** A square plate of side 2 * half at height z, facing up, in front of another 60 mm below and larger. */
function steppedPlates(): ScanData {
  const square = (half: number, z: number): number[] => [
    -half,
    -half,
    z,
    half,
    -half,
    z,
    half,
    half,
    z,
    -half,
    half,
    z,
  ];
  return {
    origin: [1000, -500, 200],
    positions: new Float32Array([...square(50, 0), ...square(200, -60)]),
    normals: null,
    colors: null,
    triangles: new Uint32Array([0, 1, 2, 0, 2, 3, 4, 5, 6, 4, 6, 7]),
    viewpoint: null,
  };
}

const ABOVE: RangeCamera = {
  kind: 'perspective',
  position: [1000 + 37, -500 - 21, 200 + 400],
  forward: [0, 0, -1],
  up: [0, 1, 0],
  columns: 151,
  rows: 151,
  step: 0.0042,
};

describe('captureRangeImage', () => {
  it('puts noise-free points on the surface to 1e-9 mm, seen from the right side, in raster order', async () => {
    const scene = buildSimulatedScene(steppedPlates());
    const image = await captureRangeImage(scene, ABOVE, IDEAL_RANGE_INSTRUMENT, 'v', makeRunContext());
    let upper = 0;
    let farthest = 0;
    for (let i = 0; i < image.triangle.length; i++) {
      if (image.triangle[i] < 0) continue;
      const z = image.positions[3 * i + 2];
      const onUpper = image.triangle[i] < 2;
      if (onUpper) upper++;
      farthest = Math.max(farthest, Math.abs(z - (onUpper ? 200 : 140)));
    }
    expect(farthest).toBeLessThan(1e-9);
    // The upper plate is 100 mm wide at 400 mm: (100 / 400 / step) pixels a side.
    expect(Math.abs(upper - (100 / 400 / ABOVE.step) ** 2) / upper).toBeLessThan(0.02);
    const scan = meshFromRangeImage(image, scene);
    const p = scan.positions;
    const t = scan.triangles as Uint32Array;
    let leastArea = Number.POSITIVE_INFINITY;
    let tallest = 0;
    for (let k = 0; k < t.length; k += 3) {
      const [a, b, c] = [3 * t[k], 3 * t[k + 1], 3 * t[k + 2]];
      const nz = (p[b] - p[a]) * (p[c + 1] - p[a + 1]) - (p[b + 1] - p[a + 1]) * (p[c] - p[a]);
      leastArea = Math.min(leastArea, nz);
      tallest = Math.max(tallest, Math.max(p[a + 2], p[b + 2], p[c + 2]) - Math.min(p[a + 2], p[b + 2], p[c + 2]));
    }
    expect(leastArea).toBeGreaterThan(0);
    // No triangle bridges the 60 mm step.
    expect(tallest).toBeLessThan(1);
    expect(scan.viewpoint).toEqual({ kind: 'position', position: ABOVE.position });
  });

  it('keeps range and incidence limits', async () => {
    const scene = buildSimulatedScene(steppedPlates());
    const limited = { ...IDEAL_RANGE_INSTRUMENT, farRange: 430, incidenceLimit: Math.PI / 12 };
    const image = await captureRangeImage(scene, ABOVE, limited, 'v', makeRunContext());
    let count = 0;
    let highestTriangle = -1;
    let leastCosine = 1;
    for (let i = 0; i < image.triangle.length; i++) {
      if (image.triangle[i] < 0) continue;
      count++;
      highestTriangle = Math.max(highestTriangle, image.triangle[i]);
      leastCosine = Math.min(leastCosine, 400 / image.ranges[i]);
    }
    expect(highestTriangle).toBeLessThan(2);
    expect(leastCosine).toBeGreaterThan(Math.cos(Math.PI / 12) - 1e-9);
    expect(count).toBeGreaterThan(500);
  });

  it('gives white noise of the stated sigma along the ray', async () => {
    const scene = buildSimulatedScene(steppedPlates());
    const noisy = { ...IDEAL_RANGE_INSTRUMENT, noise: { white: 0.25, correlated: [] } };
    const truth = await captureRangeImage(scene, ABOVE, IDEAL_RANGE_INSTRUMENT, 'v', makeRunContext());
    const image = await captureRangeImage(scene, ABOVE, noisy, 'v', makeRunContext({ seed: 5 }));
    let sum = 0;
    let squares = 0;
    let count = 0;
    for (let i = 0; i < image.triangle.length; i++) {
      if (image.triangle[i] < 0) continue;
      const d = image.ranges[i] - truth.ranges[i];
      sum += d;
      squares += d * d;
      count++;
    }
    // Four standard errors of a mean and of a standard deviation.
    expect(Math.abs(sum / count)).toBeLessThan((4 * 0.25) / Math.sqrt(count));
    expect(Math.abs(Math.sqrt(squares / count) / 0.25 - 1)).toBeLessThan(4 / Math.sqrt(2 * count));
  });

  it('puts mixed points between the two depths, only beside a step, and outliers within their reach', async () => {
    const scene = buildSimulatedScene(steppedPlates());
    const truth = await captureRangeImage(scene, ABOVE, IDEAL_RANGE_INSTRUMENT, 'v', makeRunContext());
    const mixing = { ...IDEAL_RANGE_INSTRUMENT, mixedShare: 0.5 };
    const image = await captureRangeImage(scene, ABOVE, mixing, 'v', makeRunContext());
    let mixed = 0;
    for (let i = 0; i < image.triangle.length; i++) {
      if (image.triangle[i] < 0 || Math.abs(image.ranges[i] - truth.ranges[i]) < 1e-9) continue;
      mixed++;
      expect(image.ranges[i]).toBeGreaterThan(399);
      const neighbours = [i - 1, i + 1, i - 151, i + 151].map((j) => truth.triangle[j] < 2);
      expect(new Set(neighbours.concat(truth.triangle[i] < 2)).size).toBe(2);
    }
    // About half of the perimeter's pixels.
    const perimeter = (4 * 100) / 400 / ABOVE.step;
    expect(mixed).toBeGreaterThan(0.35 * perimeter);
    expect(mixed).toBeLessThan(0.65 * perimeter);

    const wild = { ...IDEAL_RANGE_INSTRUMENT, outlierShare: 0.02, outlierReach: 30 };
    const outliers = await captureRangeImage(scene, ABOVE, wild, 'v', makeRunContext());
    let wildCount = 0;
    let largest = 0;
    let count = 0;
    for (let i = 0; i < truth.triangle.length; i++) {
      if (truth.triangle[i] < 0) continue;
      count++;
      const d = Math.abs(outliers.ranges[i] - truth.ranges[i]);
      largest = Math.max(largest, d);
      if (d > 1e-9) wildCount++;
    }
    expect(largest).toBeLessThanOrEqual(30);
    expect(Math.abs(wildCount - 0.02 * count)).toBeLessThan(4 * Math.sqrt(0.02 * count));
  });
});

describe('cutPartialView', () => {
  it('repeats bit for bit, differs by name, and delivers in the asked frame', async () => {
    const options = { spacing: 3, instrument: { noise: { white: 0.1, correlated: [{ sigma: 0.1, length: 20 }] } } };
    const cut = (name: string): Promise<ScanData> =>
      cutPartialView(steppedPlates(), [0.2, 0.1, 1], { ...options, name }, makeRunContext({ seed: 3 }));
    const first = await cut('a');
    expect((await cut('a')).positions).toEqual(first.positions);
    expect((await cut('b')).positions).not.toEqual(first.positions);
    const moved = await cutPartialView(
      steppedPlates(),
      [0.2, 0.1, 1],
      { ...options, name: 'a', scanFromMesh: { rotation: [0, 0, 0, 1], translation: [0, 0, 1e6] } },
      makeRunContext({ seed: 3 }),
    );
    expect(moved.positions.length).toBe(first.positions.length);
    let farthest = 0;
    for (let i = 0; i < first.positions.length; i++) {
      const sign = i % 3 === 2 ? 1 : -1;
      const was = first.positions[i] + first.origin[i % 3];
      const is = moved.positions[i] + moved.origin[i % 3] - (i % 3 === 2 ? 1e6 : 0);
      farthest = Math.max(farthest, Math.abs(is - sign * was));
    }
    expect(farthest).toBeLessThan(1e-4);
  });

  it('refuses a mesh without triangles and a direction of length zero', async () => {
    const cloud: ScanData = { ...steppedPlates(), triangles: null };
    await expect(cutPartialView(cloud, [0, 0, 1], {}, makeRunContext())).rejects.toThrow(RangeError);
    await expect(cutPartialView(steppedPlates(), [0, 0, 0], {}, makeRunContext())).rejects.toThrow(RangeError);
  });
});
