import { type Matrix3, type Pose, rotate, rotationMatrix, type Vec3 } from '../math/index.ts';
import type { PreparedScan } from './prepared-scan.ts';

/** A pose between the points of two scans as stored, each relative to its origin, as numbers for inner loops. */
export interface LocalMotion {
  readonly r: Matrix3;
  readonly t: Vec3;
}

/** The pose of `b` in the frame of `a`, between coordinates relative to the two origins. */
export function toLocalPose(aFromB: Pose, a: PreparedScan, b: PreparedScan): Pose {
  const moved = rotate(aFromB.rotation, b.origin);
  const t = aFromB.translation;
  return {
    rotation: aFromB.rotation,
    translation: [moved[0] - a.origin[0] + t[0], moved[1] - a.origin[1] + t[1], moved[2] - a.origin[2] + t[2]],
  };
}

/** Inverse of `toLocalPose`. */
export function fromLocalPose(local: Pose, a: PreparedScan, b: PreparedScan): Pose {
  const moved = rotate(local.rotation, b.origin);
  const t = local.translation;
  return {
    rotation: local.rotation,
    translation: [a.origin[0] - moved[0] + t[0], a.origin[1] - moved[1] + t[1], a.origin[2] - moved[2] + t[2]],
  };
}

/** Matrix form of a pose. */
export function motionOf(pose: Pose): LocalMotion {
  return { r: rotationMatrix(pose.rotation), t: pose.translation };
}

/** Moves points; reads and writes xyz triples. */
export function movePoints(motion: LocalMotion, points: ArrayLike<number>, out: Float64Array | Float32Array): void {
  const [a, b, c, d, e, f, g, h, i] = motion.r;
  const [tx, ty, tz] = motion.t;
  for (let k = 0; k < points.length; k += 3) {
    const x = points[k] as number;
    const y = points[k + 1] as number;
    const z = points[k + 2] as number;
    out[k] = a * x + b * y + c * z + tx;
    out[k + 1] = d * x + e * y + f * z + ty;
    out[k + 2] = g * x + h * y + i * z + tz;
  }
}

/** Turns directions; reads and writes xyz triples. */
export function turnDirections(
  motion: LocalMotion,
  vectors: ArrayLike<number>,
  out: Float64Array | Float32Array,
): void {
  movePoints({ r: motion.r, t: [0, 0, 0] }, vectors, out);
}
