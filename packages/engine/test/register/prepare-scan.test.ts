import { describe, expect, it } from 'vitest';
import { makeRandom, makeRunContext } from '../../src/base/index.ts';
import { distance, normalize, type Vec3 } from '../../src/math/index.ts';
import { prepareScan, thinScan } from '../../src/register/index.ts';
import { randomDirection, sampleBlob, scanOf, shuffledOrder } from './sampled-shapes.ts';

/** An open grid over a gentle wave, with triangles. */
function waveGrid(n: number): { points: Vec3[]; triangles: Uint32Array } {
  const points: Vec3[] = [];
  const corners: number[] = [];
  for (let i = 0; i < n; i++) {
    for (let j = 0; j < n; j++) {
      points.push([i, j, 2 * Math.sin(i / 7) * Math.cos(j / 9)]);
      if (i + 1 < n && j + 1 < n) {
        const a = i * n + j;
        corners.push(a, a + n, a + n + 1, a, a + n + 1, a + 1);
      }
    }
  }
  return { points, triangles: Uint32Array.from(corners) };
}

describe('prepareScan', () => {
  it('gives the same bits for points in any order', async () => {
    const { points } = sampleBlob('order', 3000, null, 0.05);
    const withTwins = [...points, ...points.slice(0, 100)];
    const first = await prepareScan(scanOf(withTwins), {}, makeRunContext());
    const order = shuffledOrder(withTwins.length, 'order');
    const second = await prepareScan(scanOf(order.map((i) => withTwins[i])), {}, makeRunContext());
    expect(first.positions.length).toBe(9000);
    expect(second).toEqual(first);
  });

  it('gives the same bits for points and triangles of a mesh in any order', async () => {
    const { points, triangles } = waveGrid(30);
    const first = await prepareScan(scanOf(points, { triangles }), {}, makeRunContext());
    const order = shuffledOrder(points.length, 'points');
    const place = new Uint32Array(points.length);
    order.forEach((from, to) => {
      place[from] = to;
    });
    const triangleOrder = shuffledOrder(triangles.length / 3, 'triangles');
    const mixed = Uint32Array.from(triangleOrder.flatMap((t) => [1, 2, 0].map((c) => place[triangles[3 * t + c]])));
    const second = await prepareScan(
      scanOf(
        order.map((i) => points[i]),
        { triangles: mixed },
      ),
      {},
      makeRunContext(),
    );
    expect(second).toEqual(first);
    expect(first.orientation).toBe('winding');
  });

  it('is exact far from the origin, where the distance is stated and where it is in the coordinates', async () => {
    // Steps of 1/256 keep their digits in float32 up to 2^15 + 100.
    const points = sampleBlob('far', 2000, null, 0).points.map(
      (p): Vec3 => [Math.round(p[0] * 256) / 256, Math.round(p[1] * 256) / 256, Math.round(p[2] * 256) / 256],
    );
    const near = await prepareScan(scanOf(points), {}, makeRunContext());
    const stated = await prepareScan(scanOf(points, { origin: [1e7, -1e7, 3e6] }), {}, makeRunContext());
    expect(stated).toEqual({ ...near, origin: [1e7, -1e7, 3e6] });
    const far = await prepareScan(
      scanOf(points.map(([x, y, z]): Vec3 => [x + 32768, y - 32768, z + 32768])),
      {},
      makeRunContext(),
    );
    expect(far.normals).toEqual(near.normals);
    expect(far.spacing).toBe(near.spacing);
    expect(far.noise).toBeCloseTo(near.noise, 12);
    for (let i = 0; i < points.length; i++) {
      expect(far.origin[0] + far.positions[3 * i] - 32768).toBe(near.positions[3 * i]);
    }
  });

  it('gives the same in another unit', async () => {
    const { points } = sampleBlob('unit', 2000, null, 0.1);
    const mm = await prepareScan(scanOf(points), {}, makeRunContext());
    const other = await prepareScan(
      scanOf(points.map((p): Vec3 => [p[0] / 1024, p[1] / 1024, p[2] / 1024])),
      {},
      makeRunContext(),
    );
    expect(other.normals).toEqual(mm.normals);
    expect(other.noise * 1024).toBeCloseTo(mm.noise, 12);
    expect(other.spacing * 1024).toBeCloseTo(mm.spacing, 12);
    expect(other.border).toEqual(mm.border);
  });

  it('measures the noise of a curved surface and none where there is none', async () => {
    for (const noise of [0, 0.05, 0.3]) {
      const { points } = sampleBlob(`noise ${noise}`, 20000, null, noise);
      const scan = await prepareScan(scanOf(points), {}, makeRunContext());
      expect(Math.abs(scan.noise - noise)).toBeLessThan(0.08 * noise + 0.005);
    }
  });

  it('finds normals of a noisy cloud and turns them to the instrument', async () => {
    const view: Vec3 = [0, 0, 1];
    const { points, normals } = sampleBlob('normals', 8000, view, 0.1);
    for (const viewpoint of [
      { kind: 'direction', direction: view },
      { kind: 'position', position: [0, 0, 2000] },
    ] as const) {
      const scan = await prepareScan(scanOf(points, { viewpoint }), {}, makeRunContext());
      const lookup = new Map(points.map((p, i) => [Float32Array.from(p).join(), normals[i]]));
      const angles = Array.from({ length: scan.positions.length / 3 }, (_, i) => {
        const truth = lookup.get(scan.positions.subarray(3 * i, 3 * i + 3).join()) ?? [0, 0, 0];
        return Math.acos(
          Math.min(
            1,
            truth[0] * scan.normals[3 * i] + truth[1] * scan.normals[3 * i + 1] + truth[2] * scan.normals[3 * i + 2],
          ),
        );
      }).sort((a, b) => a - b);
      expect(scan.oriented).toBe(true);
      expect(angles[Math.floor(0.5 * angles.length)]).toBeLessThan(0.06);
      expect(angles[Math.floor(0.99 * angles.length)]).toBeLessThan(0.3);
    }
  });

  it('does not trust a winding that contradicts itself, and says so', async () => {
    const { points, triangles } = waveGrid(20);
    const mixed = triangles.slice();
    for (let t = 0; t < mixed.length; t += 9) [mixed[t], mixed[t + 1]] = [mixed[t + 1], mixed[t]];
    const context = makeRunContext();
    const scan = await prepareScan(scanOf(points, { triangles: mixed }), { subject: 'lid' }, context);
    expect(scan.orientation).toBe('propagated');
    expect(context.findings.items.map(({ code, subject }) => `${code} ${subject}`)).toEqual([
      'register/winding-contradicts lid',
    ]);
  });

  it('reverses a mesh that shows its back to the instrument', async () => {
    const { points, triangles } = waveGrid(20);
    const viewpoint = { kind: 'direction', direction: [0, 0, 1] } as const;
    const right = await prepareScan(scanOf(points, { triangles, viewpoint }), {}, makeRunContext());
    const reversed = triangles.slice();
    for (let t = 0; t < reversed.length; t += 3) [reversed[t], reversed[t + 1]] = [reversed[t + 1], reversed[t]];
    const scan = await prepareScan(scanOf(points, { triangles: reversed, viewpoint }), {}, makeRunContext());
    expect(Array.from(scan.normals)).toEqual(Array.from(right.normals));
    expect(right.normals[2]).toBeGreaterThan(0);
  });

  it('marks the border of a mesh, also at a hole, and of a cloud', async () => {
    const { points, triangles } = waveGrid(40);
    const hole = triangles.filter((_, i) => {
      const [x, y] = points[triangles[i - (i % 3)]];
      return !(x > 15 && x < 22 && y > 15 && y < 22);
    });
    const isEdge = (x: number, y: number): boolean => x === 0 || y === 0 || x === 39 || y === 39;
    const mesh = await prepareScan(scanOf(points, { triangles: hole }), {}, makeRunContext());
    let atHole = 0;
    for (let i = 0; i < mesh.border.length; i++) {
      const [x, y] = mesh.positions.subarray(3 * i, 3 * i + 2);
      if (isEdge(x, y)) expect(mesh.border[i]).toBe(1);
      else if (Math.hypot(x - 19, y - 19) > 8) expect(mesh.border[i]).toBe(0);
      else atHole += mesh.border[i];
    }
    expect(atHole).toBeGreaterThan(20);
    const cloud = await prepareScan(scanOf(points), {}, makeRunContext());
    for (let i = 0; i < cloud.border.length; i++) {
      const [x, y] = cloud.positions.subarray(3 * i, 3 * i + 2);
      if (isEdge(x, y)) expect(cloud.border[i]).toBe(1);
      if (x > 2 && y > 2 && x < 37 && y < 37) expect(cloud.border[i]).toBe(0);
    }
  });

  it('ends on exactly coplanar points, near duplicates and a cube with holes, with equal sides (orientation loops: Open3D issues 4983, 6482)', async () => {
    const random = makeRandom(2, 'coplanar');
    const flat: Vec3[] = Array.from({ length: 10000 }, () => [random.uniform() * 100, random.uniform() * 100, 5]);
    const twins = flat.map(([x, y, z]): Vec3 => [x + 1e-5, y, z]);
    const plane = await prepareScan(scanOf([...flat, ...twins]), {}, makeRunContext());
    const signs = new Set(
      Array.from({ length: plane.normals.length / 3 }, (_, i) => Math.sign(plane.normals[3 * i + 2])),
    );
    expect(signs.size).toBe(1);
    const sides: Vec3[] = [];
    for (let i = 0; i < 12000; i++) {
      const p = [random.uniform() * 2 - 1, random.uniform() * 2 - 1, random.uniform() * 2 - 1];
      p[i % 3] = i % 2 === 0 ? 1 : -1;
      const [u, v] = [p[(i + 1) % 3], p[(i + 2) % 3]];
      if (Math.hypot(u, v) > 0.4) sides.push([p[0], p[1], p[2]]);
    }
    const cube = await prepareScan(scanOf(sides), {}, makeRunContext());
    let outward = 0;
    for (let i = 0; i < cube.normals.length; i += 3) {
      let sum = 0;
      for (let a = 0; a < 3; a++) sum += cube.normals[i + a] * cube.positions[i + a];
      if (sum > 0) outward++;
    }
    expect(outward / (cube.normals.length / 3)).toBeGreaterThan(0.98);
  });

  it('gives two close sheets opposite sides (thin plate: Open3D pull request 6198)', async () => {
    const points: Vec3[] = [];
    for (let i = 0; i < 60; i++) {
      for (let j = 0; j < 60; j++) {
        points.push([i, j, 0], [i + 0.5, j + 0.5, 1.5]);
      }
    }
    const scan = await prepareScan(scanOf(points), { neighbourCount: 8 }, makeRunContext());
    const tally = { top: 0, bottom: 0 };
    for (let i = 0; i < scan.positions.length; i += 3) {
      if (scan.positions[i + 2] > 0.7) tally.top += Math.sign(scan.normals[i + 2]);
      else tally.bottom += Math.sign(scan.normals[i + 2]);
    }
    expect(tally.top * tally.bottom).toBeLessThan(0);
    expect(Math.abs(tally.top)).toBeGreaterThan(0.9 * 3600);
    expect(Math.abs(tally.bottom)).toBeGreaterThan(0.9 * 3600);
  });

  it('drops what is no number and survives none, one, two and equal points', async () => {
    const { points } = sampleBlob('nan', 1000, null, 0);
    const clean = await prepareScan(scanOf(points), {}, makeRunContext());
    const spoilt = await prepareScan(scanOf([[Number.NaN, 0, 0], ...points, [0, Infinity, 0]]), {}, makeRunContext());
    expect(spoilt).toEqual(clean);
    for (const few of [[], points.slice(0, 1), points.slice(0, 2), Array.from({ length: 50 }, () => points[0])]) {
      const scan = await prepareScan(scanOf(few), {}, makeRunContext());
      expect(scan.positions.length).toBeLessThanOrEqual(6);
      expect(scan.normals.every((value) => Number.isFinite(value))).toBe(true);
      expect(Number.isFinite(scan.spacing + scan.noise + scan.radius)).toBe(true);
    }
  });
});

describe('thinScan', () => {
  it('keeps points apart and leaves no gap, for any order of the input', async () => {
    const { points } = sampleBlob('thin', 6000, null, 0);
    const scan = await prepareScan(scanOf(points), {}, makeRunContext());
    const thin = thinScan(scan, 8);
    const n = thin.positions.length / 3;
    const at = (i: number): Vec3 => [thin.positions[3 * i], thin.positions[3 * i + 1], thin.positions[3 * i + 2]];
    let closest = Infinity;
    for (let i = 0; i < n; i++) {
      for (let j = 0; j < i; j++) closest = Math.min(closest, distance(at(i), at(j)));
    }
    expect(closest).toBeGreaterThanOrEqual(8);
    const kept = Array.from({ length: n }, (_, i) => at(i));
    const widest = Math.max(...points.map((p) => Math.min(...kept.map((q) => distance(p, q)))));
    expect(widest).toBeLessThan(8 + 1e-4);
    const mixed = await prepareScan(scanOf(shuffledOrder(6000, 'thin').map((i) => points[i])), {}, makeRunContext());
    expect(thinScan(mixed, 8)).toEqual(thin);
  });

  it('chooses nearly the same points of a turned scan', async () => {
    const { points } = sampleBlob('turned', 3000, null, 0);
    const random = makeRandom(4, 'turn');
    const z = randomDirection(random);
    const x = normalize([z[1], -z[0], 0]);
    const y: Vec3 = [z[1] * x[2] - z[2] * x[1], z[2] * x[0] - z[0] * x[2], z[0] * x[1] - z[1] * x[0]];
    const turn = (p: Vec3): Vec3 => [
      x[0] * p[0] + x[1] * p[1] + x[2] * p[2],
      y[0] * p[0] + y[1] * p[1] + y[2] * p[2],
      z[0] * p[0] + z[1] * p[1] + z[2] * p[2],
    ];
    const plain = thinScan(await prepareScan(scanOf(points), {}, makeRunContext()), 10);
    const turned = thinScan(await prepareScan(scanOf(points.map(turn)), {}, makeRunContext()), 10);
    let common = 0;
    for (let i = 0; i < plain.positions.length; i += 3) {
      const p = turn([plain.positions[i], plain.positions[i + 1], plain.positions[i + 2]]);
      for (let j = 0; j < turned.positions.length; j += 3) {
        const gap = Math.hypot(
          turned.positions[j] - p[0],
          turned.positions[j + 1] - p[1],
          turned.positions[j + 2] - p[2],
        );
        if (gap < 1e-3) {
          common++;
          break;
        }
      }
    }
    expect(common / (plain.positions.length / 3)).toBeGreaterThan(0.95);
  });
});
