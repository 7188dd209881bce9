import { buildTriangleIndex } from '../geometry/index.ts';
import {
  choleskyFactor,
  choleskySolve,
  compose,
  cross,
  distance,
  IDENTITY_POSE,
  invert,
  multiplyQuaternions,
  type Pose,
  rotate,
  rotationAngle,
  subtract,
  symmetricEigen,
  transformPoint,
  type Vec3,
  vectorOfQuaternion,
} from '../math/index.ts';
import type { FramePose, ScanData } from '../model/index.ts';
import type { KnownTruth } from './known-truth.ts';

/** How far one frame's result lies from the truth. Lengths mm; null where there is no result or no covariance. */
export interface FrameTruthDeviation {
  readonly frame: string;
  readonly status: FramePose['status'];
  /** Root mean square displacement of the frame's points. */
  readonly rms: number | null;
  readonly farPoint: number | null;
  readonly angleDeg: number | null;
  /** Deviation of the pose in its stated covariance, root of the mean square of six: about 1 when the statement is true. */
  readonly normalized: number | null;
  /** Stated expanded uncertainty (k = 2) of the far point along its worst direction. */
  readonly farPointUncertainty: number | null;
  /** Deviation of the far point divided by that: up to 1 in about 95 of 100 jobs when the statement is true. */
  readonly farPointShare: number | null;
}

/** How far a fused surface lies from the true one. Lengths mm, positive outside material, weighted by area. */
export interface SurfaceTruthDeviation {
  readonly median: number;
  readonly medianAbsolute: number;
  readonly percentile68: number;
  readonly percentile95: number;
  /** Share of the area within four times the noise, 0 to 1. */
  readonly within4Noise: number;
  /** Noise that was meant: the largest of the instruments'. */
  readonly noise: number;
  /** Share of the area farther from the truth than the search reached: 0 unless surface was invented. */
  readonly beyondReach: number;
}

/** All results against the truth. */
export interface TruthComparison {
  readonly frames: readonly FrameTruthDeviation[];
  readonly surface: SurfaceTruthDeviation | null;
}

/** Results to be compared. `scans` give the points on which a frame's deviation is felt. */
export interface ResultsToCompare {
  readonly frames: readonly FramePose[];
  readonly scans: readonly { readonly frame: string; readonly scan: ScanData }[];
  readonly fused: ScanData | null;
}

/**
 * Left perturbation (tx ty tz rx ry rz) at a reference point that carries the true pose to the estimated one.
 *
 * Frames   both poses into one frame; the reference lies in it.
 */
export function poseDeviation(estimated: Pose, truth: Pose, reference: Vec3): number[] {
  const q = multiplyQuaternions(estimated.rotation, invert(truth).rotation);
  const arm = rotate(q, subtract(truth.translation, reference));
  const t = [0, 1, 2].map((axis) => estimated.translation[axis] - reference[axis] - arm[axis]);
  return [...t, ...vectorOfQuaternion(q)];
}

/** Covariance of a point carried by a pose, 3 x 3: J C J' with the perturbation's J = [I, -[p - c]x]. */
function pointCovariance(covariance: readonly number[], point: Vec3, reference: Vec3): number[] {
  const arm = subtract(point, reference);
  const unit: readonly Vec3[] = [
    [1, 0, 0],
    [0, 1, 0],
    [0, 0, 1],
  ];
  const columns: Vec3[] = [...unit, ...unit.map((axis) => cross(axis, arm))];
  const out = new Array<number>(9).fill(0);
  for (let i = 0; i < 3; i++) {
    for (let j = 0; j < 3; j++) {
      for (let a = 0; a < 6; a++) {
        for (let b = 0; b < 6; b++) out[3 * i + j] += columns[a][i] * covariance[6 * a + b] * columns[b][j];
      }
    }
  }
  return out;
}

function compareFrame(
  result: FramePose,
  truth: Pose,
  farInFrame: Vec3,
  scans: readonly ScanData[],
): FrameTruthDeviation {
  const pose = result.jobFromFrame;
  const nothing = {
    rms: null,
    farPoint: null,
    angleDeg: null,
    normalized: null,
    farPointUncertainty: null,
    farPointShare: null,
  };
  if (pose === null) return { frame: result.frame, status: result.status, ...nothing };
  let squares = 0;
  let count = 0;
  for (const { origin, positions } of scans) {
    for (let i = 0; i < positions.length; i += 3) {
      const p: Vec3 = [origin[0] + positions[i], origin[1] + positions[i + 1], origin[2] + positions[i + 2]];
      squares += distance(transformPoint(pose, p), transformPoint(truth, p)) ** 2;
      count++;
    }
  }
  const far = transformPoint(pose, farInFrame);
  const farPoint = distance(far, transformPoint(truth, farInFrame));
  let normalized: number | null = null;
  let farPointUncertainty: number | null = null;
  if (result.covariance !== null && result.covarianceReference !== null && result.status === 'adjusted') {
    const e = poseDeviation(pose, truth, result.covarianceReference);
    const factor = choleskyFactor(result.covariance, 6);
    if (factor !== null) {
      const solved = choleskySolve(factor, 6, e);
      normalized = Math.sqrt(e.reduce((sum, x, i) => sum + x * solved[i], 0) / 6);
    }
    const values = symmetricEigen(pointCovariance(result.covariance, far, result.covarianceReference), 3).values;
    farPointUncertainty = 2 * Math.sqrt(Math.max(values[2], 0));
  }
  const angle = rotationAngle(multiplyQuaternions(pose.rotation, invert(truth).rotation));
  return {
    frame: result.frame,
    status: result.status,
    rms: count === 0 ? null : Math.sqrt(squares / count),
    farPoint,
    angleDeg: (angle * 180) / Math.PI,
    normalized,
    farPointUncertainty,
    farPointShare: farPointUncertainty ? farPoint / farPointUncertainty : null,
  };
}

/** Value below which a share of the weight lies. */
function weightedQuantile(values: Float64Array, weights: Float64Array, share: number): number {
  const order = Array.from(values.keys()).sort((a, b) => values[a] - values[b]);
  const total = weights.reduce((sum, w) => sum + w, 0);
  let sum = 0;
  for (const i of order) {
    sum += weights[i];
    if (sum >= share * total) return values[i];
  }
  return Number.NaN;
}

/**
 * Compares a fused surface with the true one.
 *
 * Frames   both in one frame.
 * Units    mm; positive outside material, along the true surface's normal.
 * Method   closest point on the true surface from every vertex, weighted by a third of the area of its triangles.
 *
 * @param noise the instruments' noise; the search reaches 50 times as far
 * @throws RangeError for a surface without triangles
 */
export function compareSurfaceWithTruth(fused: ScanData, truth: ScanData, noise: number): SurfaceTruthDeviation {
  if (!fused.triangles?.length || !truth.triangles?.length) throw new RangeError('Both surfaces need triangles.');
  const count = fused.positions.length / 3;
  const weights = new Float64Array(count);
  const p = fused.positions;
  const t = fused.triangles;
  for (let k = 0; k < t.length; k += 3) {
    const [a, b, c] = [3 * t[k], 3 * t[k + 1], 3 * t[k + 2]];
    const n = cross(
      [p[b] - p[a], p[b + 1] - p[a + 1], p[b + 2] - p[a + 2]],
      [p[c] - p[a], p[c + 1] - p[a + 1], p[c + 2] - p[a + 2]],
    );
    const third = Math.hypot(n[0], n[1], n[2]) / 6;
    for (let e = 0; e < 3; e++) weights[t[k + e]] += third;
  }
  const shift = subtract(fused.origin, truth.origin);
  const queries = Float32Array.from(p, (x, i) => x + shift[i % 3]);
  const triangle = new Int32Array(count);
  const points = new Float32Array(3 * count);
  const squared = new Float32Array(count);
  const index = buildTriangleIndex(truth.positions, truth.triangles);
  index.closestPoints(queries, 50 * noise, triangle, points, squared);
  index.dispose();
  const signed = new Float64Array(count);
  const found = new Float64Array(count);
  let beyond = 0;
  let within = 0;
  let total = 0;
  const q = truth.positions;
  for (let i = 0; i < count; i++) {
    total += weights[i];
    if (triangle[i] < 0) {
      beyond += weights[i];
      continue;
    }
    const [a, b, c] = [0, 1, 2].map((e) => 3 * (truth.triangles as Uint32Array)[3 * triangle[i] + e]);
    const n = cross(
      [q[b] - q[a], q[b + 1] - q[a + 1], q[b + 2] - q[a + 2]],
      [q[c] - q[a], q[c + 1] - q[a + 1], q[c + 2] - q[a + 2]],
    );
    const side = [0, 1, 2].reduce((sum, axis) => sum + n[axis] * (queries[3 * i + axis] - points[3 * i + axis]), 0);
    const d = Math.sqrt(squared[i]);
    signed[i] = side < 0 ? -d : d;
    found[i] = weights[i];
    if (d <= 4 * noise) within += weights[i];
  }
  const absolute = signed.map(Math.abs);
  return {
    median: weightedQuantile(signed, found, 0.5),
    medianAbsolute: weightedQuantile(absolute, found, 0.5),
    percentile68: weightedQuantile(absolute, found, 0.68),
    percentile95: weightedQuantile(absolute, found, 0.95),
    within4Noise: total > 0 ? within / total : 0,
    noise,
    beyondReach: total > 0 ? beyond / total : 0,
  };
}

/**
 * Compares all results of a simulated job with its truth.
 *
 * Frames   the job's frame need not be the truth's: the fixed frame of the result (or else its first placed one) ties them.
 * Units    mm, degrees.
 */
export function compareWithTruth(results: ResultsToCompare, truth: KnownTruth): TruthComparison {
  const known = new Map(truth.frames.map((f) => [f.frame, f]));
  const placed = results.frames.filter((f) => f.jobFromFrame !== null && known.has(f.frame));
  const anchor = placed.find((f) => f.status === 'fixed') ?? placed[0];
  const anchorTruth = anchor ? known.get(anchor.frame) : undefined;
  const jobFromTruth =
    anchor?.jobFromFrame && anchorTruth
      ? compose(anchor.jobFromFrame, invert(anchorTruth.jobFromFrame))
      : IDENTITY_POSE;
  const frames = results.frames.flatMap((result) => {
    const f = known.get(result.frame);
    if (!f) return [];
    const scans = results.scans.filter((s) => s.frame === result.frame).map((s) => s.scan);
    const farInFrame = transformPoint(invert(f.jobFromFrame), f.farPoint);
    return [compareFrame(result, compose(jobFromTruth, f.jobFromFrame), farInFrame, scans)];
  });
  const noise = Math.max(...truth.frames.map((f) => f.noise));
  const surface =
    results.fused === null || truth.surface === null
      ? null
      : compareSurfaceWithTruth(results.fused, moveScan(truth.surface, jobFromTruth), noise);
  return { frames, surface };
}

/** A scan moved by a pose; its origin moves exactly, its float32 coordinates turn about it. */
function moveScan(scan: ScanData, pose: Pose): ScanData {
  if (pose === IDENTITY_POSE) return scan;
  const positions = new Float32Array(scan.positions.length);
  for (let i = 0; i < positions.length; i += 3) {
    positions.set(rotate(pose.rotation, [scan.positions[i], scan.positions[i + 1], scan.positions[i + 2]]), i);
  }
  return { ...scan, origin: transformPoint(pose, scan.origin), positions };
}
