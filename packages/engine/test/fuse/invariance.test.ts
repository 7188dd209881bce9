import { describe, expect, it } from 'vitest';
import { makeRandom } from '../../src/base/index.ts';
import {
  cutTiles,
  type FusedSurface,
  fuseTile,
  measureFusionScan,
  type PosedScan,
  planFusion,
  sampleFusionScan,
  stitchTiles,
  tileInput,
} from '../../src/fuse/index.ts';
import { compose, quaternionOfVector, type Vec3 } from '../../src/math/index.ts';
import type { ScanData } from '../../src/model/index.ts';
import { flatScan, fuseNow, gridScan, posed, withNoise } from './test-shapes.ts';

const saddle = gridScan({
  place: (u, v) => [(u - 0.5) * 24, (v - 0.5) * 24, 8 * (u - 0.5) * (v - 0.5)],
  columns: 48,
  rows: 48,
  color: [200, 100, 50],
});

function scene(): PosedScan[] {
  return [
    posed('one', withNoise(saddle, 0.05, 'one'), 0.05),
    posed('two', withNoise(flatScan(20, 0.3, 0.5), 0.05, 'two'), 0.08, {
      rotation: quaternionOfVector([0.3, 0.1, 0.2]),
      translation: [4, 3, 1],
    }),
    posed('three', withNoise(flatScan(20, -0.2, 0.5, { isFlipped: true }), 0.05, 'three'), 0.08, {
      rotation: quaternionOfVector([0.3, 0.1, 0.2]),
      translation: [4, 3, 1],
    }),
  ];
}

function expectSameBits(a: FusedSurface, b: FusedSurface): void {
  expect(b.origin).toEqual(a.origin);
  for (const key of [
    'positions',
    'normals',
    'colors',
    'triangles',
    'sourceOffsets',
    'sourceScans',
    'sourceShares',
    'dominantSource',
    'sigmaNoise',
    'sigmaAlignment',
    'disagreement',
  ] as const) {
    expect(b[key], key).toEqual(a[key]);
  }
}

describe('the fused surface is the same', () => {
  it('bit for bit for any size of tile', async () => {
    const whole = await fuseNow(scene(), { tileCells: 1000 });
    expect(whole.triangles.length).toBeGreaterThan(3000);
    for (const tileCells of [11, 33]) expectSameBits(whole, await fuseNow(scene(), { tileCells }));
  });

  it('bit for bit for any order in which tiles are done and handed back as plain data', async () => {
    const scans = scene();
    const plan = planFusion(scans.map(measureFusionScan), { tileCells: 16 });
    const samples = scans
      .sort((a, b) => (a.id < b.id ? -1 : 1))
      .map((scan) => structuredClone(sampleFusionScan(scan, plan).samples))
      .filter((set) => set !== null);
    const tiles = cutTiles(plan, samples);
    expect(tiles.length).toBeGreaterThan(4);
    const results = tiles.map((tile) => structuredClone(fuseTile(structuredClone(tileInput(plan, tile, samples)))));
    expectSameBits(await fuseNow(scene()), stitchTiles(plan, results.reverse()));
  });

  it('bit for bit for any order of the scans', async () => {
    expectSameBits(await fuseNow(scene()), await fuseNow(scene().reverse()));
  });

  it('for permuted points and triangles, to 1e-6 mm', async () => {
    const shuffled = scene().map((scan) => ({ ...scan, scan: shufflePoints(scan.scan) }));
    const a = await fuseNow(scene());
    const b = await fuseNow(shuffled);
    expect(b.triangles).toEqual(a.triangles);
    a.positions.forEach((value, i) => {
      expect(Math.abs(value - b.positions[i])).toBeLessThan(1e-5);
    });
  });

  it('far from the origin, centroid at 5e5, 5.4e6, 350 (PCL 1842)', async () => {
    const offset: Vec3 = [5e5, 5.4e6, 350];
    const near = await fuseNow(scene());
    const far = await fuseNow(
      scene().map((scan) => ({
        ...scan,
        jobFromScan: compose({ rotation: [1, 0, 0, 0], translation: offset }, scan.jobFromScan),
      })),
    );
    expect(far.triangles).toEqual(near.triangles);
    near.origin.forEach((value, axis) => {
      expect(far.origin[axis] - offset[axis] - value).toBeCloseTo(0, 6);
    });
    near.positions.forEach((value, i) => {
      expect(Math.abs(value - far.positions[i])).toBeLessThan(1e-5);
    });
    // The same when the scan itself, not its pose, carries the large numbers.
    const carried = await fuseNow(
      scene().map((scan) => ({
        ...scan,
        scan: { ...scan.scan, origin: offset },
        jobFromScan: compose(scan.jobFromScan, {
          rotation: [1, 0, 0, 0],
          translation: [-offset[0], -offset[1], -offset[2]],
        }),
      })),
    );
    expect(carried.triangles.length).toBe(near.triangles.length);
  });

  it('in another unit: a thousand times smaller', async () => {
    const near = await fuseNow(scene());
    const small = await fuseNow(
      scene().map((scan) => ({
        ...scan,
        noise: scan.noise / 1024,
        scan: { ...scan.scan, positions: scan.scan.positions.map((value) => value / 1024) },
        jobFromScan: {
          rotation: scan.jobFromScan.rotation,
          translation: scan.jobFromScan.translation.map((value) => value / 1024) as unknown as Vec3,
        },
      })),
    );
    expect(small.triangles).toEqual(near.triangles);
    expect(small.resolution * 1024).toBeCloseTo(near.resolution, 9);
    near.positions.forEach((value, i) => {
      expect(Math.abs(value - 1024 * small.positions[i])).toBeLessThan(1e-5);
    });
  });
});

function shufflePoints(scan: ScanData): ScanData {
  const count = scan.positions.length / 3;
  const random = makeRandom(3, 'shuffle');
  const order = Array.from({ length: count }, (_, i) => i);
  for (let i = count - 1; i > 0; i--) {
    const j = random.integer(i + 1);
    [order[i], order[j]] = [order[j], order[i]];
  }
  const places = new Uint32Array(count);
  order.forEach((from, to) => {
    places[from] = to;
  });
  const triangles: number[][] = [];
  const source = scan.triangles as Uint32Array;
  for (let t = 0; t < source.length; t += 3) triangles.unshift([...source.subarray(t, t + 3)].map((v) => places[v]));
  return {
    ...scan,
    positions: Float32Array.from(order.flatMap((from) => [...scan.positions.subarray(3 * from, 3 * from + 3)])),
    colors: scan.colors
      ? Uint8Array.from(order.flatMap((from) => [...(scan.colors as Uint8Array).subarray(3 * from, 3 * from + 3)]))
      : null,
    triangles: Uint32Array.from(triangles.flat()),
  };
}
