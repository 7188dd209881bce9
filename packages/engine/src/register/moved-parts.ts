import type { RunContext } from '../base/index.ts';
import { buildPointIndex } from '../geometry/index.ts';
import { compose, distance, invert, type Pose, rotationAngle, transformPoint, type Vec3 } from '../math/index.ts';
import { distanceToSurface, fitLocalSurfaces } from './local-surface.ts';
import { measureOverlap } from './measure-overlap.ts';
import type { PreparedScan } from './prepared-scan.ts';
import { refinePose } from './refine-pose.ts';
import { motionOf, movePoints, toLocalPose, turnDirections } from './rigid-motion.ts';
import { TUKEY_CONSTANT } from './robust-scale.ts';
import { releaseScanPointIndex } from './scan-point-index.ts';
import { pickPoints } from './thin-scan.ts';

/** Part of two scans' overlap that lies on the other scan, but under another pose than the rest. */
export interface MovedPart {
  /** Points of the prepared scan `a`. */
  readonly points: Uint32Array;
  /** Their share of all points of `a`, 0 to 1. */
  readonly share: number;
  /** Middle of the part in the frame of `b`, where `a` had it, mm. */
  readonly middle: Vec3;
  /** Pose under which the part fits. */
  readonly bFromA: Pose;
  /** Angle, rad, and shift of the middle, mm, from where the rest puts it. */
  readonly angle: number;
  readonly shift: number;
  /** Distance of single points under the part's own pose, mm. */
  readonly rms: number;
  /** In words: directions in which the part's own pose is not held. */
  readonly freeDirections: readonly string[];
}

/** How moved parts are sought. */
export interface FindMovedPartsOptions {
  /** Samples of each scan. */
  readonly sampleCount: number;
  /** Farthest that a part may have moved, mm; 0: a tenth of the smaller scan's radius. */
  readonly maxShift: number;
  /** Smallest share of the points of a scan that counts as a part. */
  readonly minimumShare: number;
}

/** Points of a region below which no pose of its own is sought. */
const MINIMUM_POINTS = 100;

/** 4000 samples: a part of one per cent still has forty. */
export const FIND_MOVED_PARTS_DEFAULTS: FindMovedPartsOptions = {
  sampleCount: 4000,
  maxShift: 0,
  minimumShare: 0.01,
};

/**
 * Looks for regions of an overlap that fit another rigid motion than the rest: a door that stood elsewhere.
 *
 * Frames   `bFromA` is the pose of the rest, for example from `refinePose`.
 * Method   points of either scan that the pose does not explain but that have the other scan near are gathered into connected
 *          regions; each region of `a` is aligned by itself with what is unexplained of `b`, and counts as moved when it then
 *          fits as the rest does.
 * Limits   finds small motions only (`maxShift`); a part turned far away is merely not overlapping.
 */
export async function findMovedParts(
  a: PreparedScan,
  b: PreparedScan,
  bFromA: Pose,
  options: Partial<FindMovedPartsOptions>,
  context: RunContext,
): Promise<MovedPart[]> {
  const settings = { ...FIND_MOVED_PARTS_DEFAULTS, ...options };
  const maxShift = settings.maxShift > 0 ? settings.maxShift : 0.1 * Math.min(a.radius, b.radius);
  const rest = await measureOverlap(a, b, bFromA, {}, context);
  const limit = Math.max(TUKEY_CONSTANT * rest.scale, 0.2 * Math.max(a.spacing, b.spacing));
  const unexplainedA = unexplainedRegions(a, b, bFromA, settings.sampleCount, maxShift, limit);
  const unexplainedB = unexplainedRegions(b, a, invert(bFromA), settings.sampleCount, maxShift, limit);
  const allOfB = Uint32Array.from(unexplainedB.flatMap((region) => Array.from(region))).sort();
  if (allOfB.length < MINIMUM_POINTS) return [];
  const target = pickPoints(b, allOfB, b.spacing);
  const still = recentred(target);
  const alignAlone = async (points: Uint32Array, start: Pose): Promise<MovedPart | null> => {
    const region = recentred(pickPoints(a, points, a.spacing));
    const fit = await refinePose(region, still, { start, minimumOverlap: 0.3 }, context);
    releaseScanPointIndex(region);
    if (fit.status !== 'converged' && fit.status !== 'degenerate') return null;
    const middle = transformPoint(bFromA, middleOf(region));
    const shift = distance(middle, transformPoint(fit.targetFromSource, middleOf(region)));
    const angle = rotationAngle(compose(fit.targetFromSource, invert(bFromA)).rotation);
    const hasMoved = Math.hypot(shift, angle * region.radius) > limit;
    if (!hasMoved || fit.rms > 3 * Math.max(fit.expectedRms, rest.scale)) return null;
    return {
      points,
      share: points.length / (a.positions.length / 3),
      middle,
      bFromA: fit.targetFromSource,
      angle,
      shift,
      rms: fit.rms,
      freeDirections: fit.freeDirections,
    };
  };
  const parts: MovedPart[] = [];
  for (const [number, points] of unexplainedA.entries()) {
    await context.checkpoint((number + 1) / (unexplainedA.length + 1), 'looking for moved parts');
    if (points.length < Math.max(MINIMUM_POINTS, (settings.minimumShare * a.positions.length) / 3)) continue;
    const alone = await alignAlone(points, bFromA);
    if (alone === null) continue;
    // Where a turned part crosses its old place it is explained by chance, so one part may come in several regions.
    const same = parts.findIndex((part) => {
      const here = transformPoint(invert(bFromA), alone.middle);
      const gap = distance(transformPoint(part.bFromA, here), transformPoint(alone.bFromA, here));
      return gap < 0.2 * alone.shift + limit;
    });
    if (same >= 0) {
      const both = Uint32Array.from([...parts[same].points, ...points]).sort();
      const joined = await alignAlone(both, parts[same].bFromA);
      if (joined !== null) {
        parts[same] = joined;
        continue;
      }
    }
    parts.push(alone);
  }
  releaseScanPointIndex(still);
  return parts;
}

/** Centroid in the scan's frame. */
function middleOf(scan: PreparedScan): Vec3 {
  return [scan.origin[0] + scan.centroid[0], scan.origin[1] + scan.centroid[1], scan.origin[2] + scan.centroid[2]];
}

/** The scan with centroid and radius of the points it now has. */
function recentred(scan: PreparedScan): PreparedScan {
  const n = scan.positions.length / 3;
  const sum = [0, 0, 0];
  for (let i = 0; i < scan.positions.length; i++) sum[i % 3] += scan.positions[i];
  const centroid: Vec3 = [sum[0] / n, sum[1] / n, sum[2] / n];
  let squares = 0;
  for (let i = 0; i < scan.positions.length; i++) squares += (scan.positions[i] - centroid[i % 3]) ** 2;
  return { ...scan, centroid, radius: Math.sqrt(squares / n) };
}

/** Connected regions of `a` that do not lie on `b` but have it near: point numbers, the largest region first. */
function unexplainedRegions(
  a: PreparedScan,
  b: PreparedScan,
  bFromA: Pose,
  sampleCount: number,
  maxShift: number,
  limit: number,
): Uint32Array[] {
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
  const signed = a.oriented && b.oriented;
  const near = fitLocalSurfaces(b, places, normals, signed, 0, maxShift);
  const out = new Float64Array(4);
  const unexplained = new Uint8Array(count);
  for (let s = 0; s < count; s++) {
    if (near.usable[s] === 0) continue;
    distanceToSurface(near, s, places[3 * s], places[3 * s + 1], places[3 * s + 2], out);
    if (Math.abs(out[0]) > limit) unexplained[s] = 1;
  }
  return connectedRegions(a, samples, unexplained, 3 * a.spacing * Math.sqrt(step));
}

function connectedRegions(a: PreparedScan, samples: Float32Array, marked: Uint8Array, reach: number): Uint32Array[] {
  const count = marked.length;
  const index = buildPointIndex(samples);
  const region = new Int32Array(count).fill(-1);
  let regionCount = 0;
  const { offsets, indices } = index.withinRadius(samples, reach);
  for (let seed = 0; seed < count; seed++) {
    if (marked[seed] === 0 || region[seed] >= 0) continue;
    const open = [seed];
    region[seed] = regionCount;
    for (let s = open.pop(); s !== undefined; s = open.pop()) {
      for (let e = offsets[s]; e < offsets[s + 1]; e++) {
        const other = indices[e];
        if (marked[other] === 0 || region[other] >= 0) continue;
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
