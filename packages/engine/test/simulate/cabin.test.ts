import {
  buildTriangleIndex,
  cabinProbeFeatures,
  compose,
  invert,
  makeRunContext,
  type Pose,
  type ScanData,
  type SimulatedJob,
  simulateRopewayCabin,
  transformPoint,
  type Vec3,
} from '@lapjoint/engine';
import { beforeAll, describe, expect, it } from 'vitest';

/** Distances of places (float64, job frame) from the true surface. */
function distancesToTruth(job: SimulatedJob, places: readonly Vec3[]): Float64Array {
  const truth = job.truth.surface;
  const index = buildTriangleIndex(truth.positions, truth.triangles as Uint32Array);
  const queries = Float32Array.from(places.flatMap((p) => p.map((x, axis) => x - truth.origin[axis])));
  const squared = new Float32Array(places.length);
  index.closestPoints(queries, 50, new Int32Array(places.length), new Float32Array(3 * places.length), squared);
  index.dispose();
  return Float64Array.from(squared, Math.sqrt);
}

function placesOf(scan: ScanData, jobFromScan: Pose, step: number): Vec3[] {
  const places: Vec3[] = [];
  for (let i = 0; i < scan.positions.length; i += 3 * step) {
    const p: Vec3 = [
      scan.origin[0] + scan.positions[i],
      scan.origin[1] + scan.positions[i + 1],
      scan.origin[2] + scan.positions[i + 2],
    ];
    places.push(transformPoint(jobFromScan, p));
  }
  return places;
}

describe('simulateRopewayCabin, small', () => {
  let noisy: SimulatedJob;
  let exact: SimulatedJob;
  beforeAll(async () => {
    noisy = await simulateRopewayCabin({ size: 'small', seed: 1 }, makeRunContext());
    exact = await simulateRopewayCabin({ size: 'small', seed: 1, noiseFree: true }, makeRunContext());
  });

  it('has about 150 thousand triangles and is the size of a cabin with its suspension', () => {
    const triangles = noisy.scans.reduce((sum, s) => sum + (s.scan.triangles?.length ?? 0) / 3, 0);
    expect(triangles).toBeGreaterThan(120_000);
    expect(triangles).toBeLessThan(200_000);
    const model = placesOf(noisy.truth.surface, invert(noisy.truth.jobFromModel), 1);
    const extent = [0, 1, 2].map((axis) => {
      const along = model.map((p) => p[axis]);
      return along.reduce((a, b) => Math.max(a, b)) - along.reduce((a, b) => Math.min(a, b));
    });
    // Shell 3200 x 2000 x 2400; door, rail and suspension reach out of it.
    expect(extent[0]).toBeGreaterThan(3200);
    expect(extent[0]).toBeLessThan(3500);
    expect(extent[1]).toBeGreaterThan(2800);
    expect(extent[1]).toBeLessThan(3200);
    expect(extent[2]).toBeGreaterThan(4200);
    expect(extent[2]).toBeLessThan(4400);
  });

  it('puts noise-free scans of every frame on one true surface', () => {
    for (const { frame, scan } of exact.scans) {
      const d = distancesToTruth(exact, placesOf(scan, exact.truth.jobFromFrame[frame], 3)).sort();
      // Rays meet the true triangles; only float32 coordinates (0.12 um per axis at 2 m, in scan and truth) remain.
      expect(d[Math.floor(0.99 * d.length)]).toBeLessThan(5e-4);
      // A few points on sharp edges stand for themselves: within the chord of the truth's edges.
      expect(d[d.length - 1]).toBeLessThan(0.8);
    }
  });

  it('gives every scan the noise of its instrument', () => {
    noisy.scans.forEach(({ frame, scan, instrument }, k) => {
      const from = exact.scans[k].scan;
      expect(scan.positions.length).toBe(from.positions.length);
      let squares = 0;
      const count = scan.positions.length / 3;
      for (let i = 0; i < scan.positions.length; i++) {
        const d = scan.positions[i] + scan.origin[i % 3] - from.positions[i] - from.origin[i % 3];
        squares += d * d;
      }
      const sigma = Math.hypot(instrument.noise.white, ...instrument.noise.correlated.map((c) => c.sigma));
      // Border points and long ranges are worse, most points are not.
      const rms = Math.sqrt(squares / count);
      expect(rms, frame).toBeGreaterThan(sigma * 0.95);
      expect(rms, frame).toBeLessThan(sigma * 1.7);
    });
  });

  it('lets inside and outside overlap near the door only', () => {
    const modelFromJob = invert(noisy.truth.jobFromModel);
    const places = noisy.scans.map(({ frame, scan }) =>
      placesOf(scan, compose(modelFromJob, noisy.truth.jobFromFrame[frame]), 1),
    );
    const [outside, , inside] = places;
    // Inside the shell, clear of its rounded edges.
    const inCabin = outside.filter(([x, y, z]) => Math.abs(x) < 1500 && Math.abs(y) < 930 && Math.abs(z) < 1090);
    expect(inCabin.length).toBeGreaterThan(0.02 * outside.length);
    expect(inCabin.length).toBeLessThan(0.15 * outside.length);
    expect(inCabin.filter((p) => p[0] > 300)).toHaveLength(0);
    // The inside reaches the far end, 2.1 m beyond the door's edge.
    expect(inside.some((p) => p[0] > 1560)).toBe(true);
  });

  it('measures targets from the front only, at their sigma, in each frame, and knows the common ones', () => {
    const [outside, mechanism] = noisy.targetLists;
    expect(mechanism.targets.length).toBeGreaterThan(250);
    expect(outside.targets.length).toBeGreaterThan(40);
    expect(noisy.truth.commonTargets.length).toBeGreaterThan(30);
    expect(noisy.truth.commonTargets.length).toBeLessThan(Math.min(outside.targets.length, mechanism.targets.length));
    const place = new Map(
      [outside, mechanism].flatMap((list) =>
        list.targets.map((t) => [t.name, transformPoint(noisy.truth.jobFromFrame[list.frame], t.position)] as const),
      ),
    );
    const sigma = Math.hypot(outside.targets[0].sigma, mechanism.targets[0].sigma);
    let squares = 0;
    for (const [a, b] of noisy.truth.commonTargets) {
      const [p, q] = [place.get(a) as Vec3, place.get(b) as Vec3];
      squares += (p[0] - q[0]) ** 2 + (p[1] - q[1]) ** 2 + (p[2] - q[2]) ** 2;
    }
    const count = 3 * noisy.truth.commonTargets.length;
    expect(Math.abs(Math.sqrt(squares / count) / sigma - 1)).toBeLessThan(4 / Math.sqrt(2 * count));
    const d = distancesToTruth(
      exact,
      exact.targetLists[0].targets.map((t) => t.position),
    );
    expect(Math.max(...d)).toBeLessThan(1e-3);
  });

  it('puts probed centres one tip radius off the true surface', () => {
    const points = exact.probed.points;
    expect(points.length).toBeGreaterThan(100);
    const d = distancesToTruth(
      exact,
      points.map((p) => p.position),
    );
    points.forEach((p, i) => {
      // Cylinders of the true mesh lie inside the exact ones by up to the chord of 0.2 mm.
      expect(d[i] - p.tipRadius, `${p.feature} ${i}`).toBeGreaterThan(-0.02);
      expect(d[i] - p.tipRadius, `${p.feature} ${i}`).toBeLessThan(0.25);
    });
    expect(cabinProbeFeatures().map((f) => f.name)).toContain('suspension-pin');
    const spread = noisy.probed.points.map((p, i) =>
      Math.hypot(...p.position.map((x, k) => x - points[i].position[k])),
    );
    const rms = Math.sqrt(spread.reduce((sum, x) => sum + x * x, 0) / (3 * spread.length));
    expect(Math.abs(rms / points[0].sigma || rms / 0.02)).toBeGreaterThan(0.8);
    expect(rms).toBeLessThan(0.02 * 1.2);
  });

  it('repeats bit for bit, and another seed gives other frames and noise', async () => {
    const again = await simulateRopewayCabin({ size: 'small', seed: 1 }, makeRunContext({ seed: 99 }));
    again.scans.forEach(({ scan }, k) => {
      expect(Buffer.from(scan.positions.buffer).equals(Buffer.from(noisy.scans[k].scan.positions.buffer))).toBe(true);
    });
    expect(again.targetLists).toEqual(noisy.targetLists);
    const other = await simulateRopewayCabin({ size: 'small', seed: 2 }, makeRunContext());
    expect(other.truth.jobFromFrame.inside).not.toEqual(noisy.truth.jobFromFrame.inside);
  });
});
