import { buildPointIndex } from '../geometry/index.ts';
import type { Pose } from '../math/index.ts';
import { distanceToSurface, fitLocalSurfaces } from './local-surface.ts';
import type { PreparedScan } from './prepared-scan.ts';
import { motionOf, movePoints, toLocalPose, turnDirections } from './rigid-motion.ts';

/** Distances of an even sample of one scan from the surface of another. */
export interface ScreenedSample {
  /** Every how many points of the scan one was taken. */
  readonly step: number;
  readonly count: number;
  /** Stored coordinates of the samples, xyz. */
  readonly samples: Float32Array;
  /** Absolute distance, mm; NaN where the other scan has no surface near. */
  readonly distances: Float64Array;
}

/**
 * Measures an even sample of `a` against the surface of `b`.
 *
 * @param reach farthest that a surface is looked for, mm
 */
export function screenSample(
  a: PreparedScan,
  b: PreparedScan,
  bFromA: Pose,
  sampleCount: number,
  reach: number,
): ScreenedSample {
  const pointCount = a.positions.length / 3;
  const step = Math.max(1, Math.floor(pointCount / sampleCount));
  const count = Math.floor(pointCount / step);
  const samples = new Float32Array(3 * count);
  const places = new Float64Array(3 * count);
  const normals = new Float64Array(3 * count);
  for (let s = 0; s < count; s++) {
    const i = 3 * s * step;
    samples.set(a.positions.subarray(i, i + 3), 3 * s);
    normals.set(a.normals.subarray(i, i + 3), 3 * s);
  }
  const motion = motionOf(toLocalPose(bFromA, b, a));
  movePoints(motion, samples, places);
  turnDirections(motion, normals, normals);
  const near = fitLocalSurfaces(b, places, normals, a.oriented && b.oriented, 0, reach);
  const out = new Float64Array(4);
  const distances = new Float64Array(count).fill(Number.NaN);
  for (let s = 0; s < count; s++) {
    if (near.usable[s] === 0) continue;
    distanceToSurface(near, s, places[3 * s], places[3 * s + 1], places[3 * s + 2], out);
    distances[s] = Math.abs(out[0]);
  }
  return { step, count, samples, distances };
}

/** Number of samples that have a surface near and lie farther from it than the limit. */
export function countBeyond(screened: ScreenedSample, limit: number): number {
  let count = 0;
  for (const d of screened.distances) if (d > limit) count++;
  return count;
}

/** Connected regions of a scan whose samples lie beyond the limit: point numbers, the largest region first. */
export function regionsBeyond(a: PreparedScan, screened: ScreenedSample, limit: number): Uint32Array[] {
  const { samples, distances, count, step } = screened;
  const reach = 3 * a.spacing * Math.sqrt(step);
  const index = buildPointIndex(samples);
  const region = new Int32Array(count).fill(-1);
  let regionCount = 0;
  const { offsets, indices } = index.withinRadius(samples, reach);
  for (let seed = 0; seed < count; seed++) {
    if (!(distances[seed] > limit) || region[seed] >= 0) continue;
    const open = [seed];
    region[seed] = regionCount;
    for (let s = open.pop(); s !== undefined; s = open.pop()) {
      for (let e = offsets[s]; e < offsets[s + 1]; e++) {
        const other = indices[e];
        if (!(distances[other] > limit) || region[other] >= 0) continue;
        region[other] = regionCount;
        open.push(other);
      }
    }
    regionCount++;
  }
  const pointCount = a.positions.length / 3;
  const nearest = new Int32Array(pointCount);
  index.nearest(a.positions, Infinity, nearest, new Float32Array(pointCount));
  index.dispose();
  const lists: number[][] = Array.from({ length: regionCount }, () => []);
  for (let i = 0; i < pointCount; i++) {
    if (nearest[i] >= 0 && region[nearest[i]] >= 0) lists[region[nearest[i]]].push(i);
  }
  return lists
    .filter((list) => list.length > 0)
    .sort((p, q) => q.length - p.length || p[0] - q[0])
    .map((list) => Uint32Array.from(list));
}
