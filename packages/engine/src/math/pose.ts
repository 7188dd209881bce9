import { cross, type Vec3 } from './vec3.ts';

/** Unit quaternion w, x, y, z. */
export type Quaternion = readonly [number, number, number, number];

/**
 * A rigid motion. Named by what it carries where: `targetFromSource` maps source coordinates to target coordinates.
 *
 * Units    rotation as unit quaternion w x y z, translation in mm.
 */
export interface Pose {
  readonly rotation: Quaternion;
  readonly translation: Vec3;
}

/** 3 x 3, row-major. */
export type Matrix3 = readonly [number, number, number, number, number, number, number, number, number];

/** The pose that moves nothing. */
export const IDENTITY_POSE: Pose = { rotation: [1, 0, 0, 0], translation: [0, 0, 0] };

/** Quaternion of length one with w not negative. */
export function normalizeQuaternion(q: Quaternion): Quaternion {
  const length = Math.hypot(q[0], q[1], q[2], q[3]);
  if (!(length > 0 && Number.isFinite(length))) throw new RangeError('A quaternion of length zero is no rotation.');
  const s = (q[0] < 0 ? -1 : 1) / length;
  return [q[0] * s, q[1] * s, q[2] * s, q[3] * s];
}

/** Quaternion product: rotate by b, then by a. */
export function multiplyQuaternions(a: Quaternion, b: Quaternion): Quaternion {
  return [
    a[0] * b[0] - a[1] * b[1] - a[2] * b[2] - a[3] * b[3],
    a[0] * b[1] + a[1] * b[0] + a[2] * b[3] - a[3] * b[2],
    a[0] * b[2] - a[1] * b[3] + a[2] * b[0] + a[3] * b[1],
    a[0] * b[3] + a[1] * b[2] - a[2] * b[1] + a[3] * b[0],
  ];
}

/** Rotation matrix of a unit quaternion. */
export function rotationMatrix(q: Quaternion): Matrix3 {
  const [w, x, y, z] = q;
  return [
    1 - 2 * (y * y + z * z),
    2 * (x * y - w * z),
    2 * (x * z + w * y),
    2 * (x * y + w * z),
    1 - 2 * (x * x + z * z),
    2 * (y * z - w * x),
    2 * (x * z - w * y),
    2 * (y * z + w * x),
    1 - 2 * (x * x + y * y),
  ];
}

/** Unit quaternion of a proper rotation matrix (Shepperd 1978: the largest component first). */
export function quaternionOfMatrix(m: Matrix3): Quaternion {
  const trace = m[0] + m[4] + m[8];
  if (trace >= m[0] && trace >= m[4] && trace >= m[8]) {
    return normalizeQuaternion([1 + trace, m[7] - m[5], m[2] - m[6], m[3] - m[1]]);
  }
  if (m[0] >= m[4] && m[0] >= m[8]) {
    return normalizeQuaternion([m[7] - m[5], 1 + m[0] - m[4] - m[8], m[1] + m[3], m[2] + m[6]]);
  }
  if (m[4] >= m[8]) return normalizeQuaternion([m[2] - m[6], m[1] + m[3], 1 - m[0] + m[4] - m[8], m[5] + m[7]]);
  return normalizeQuaternion([m[3] - m[1], m[2] + m[6], m[5] + m[7], 1 - m[0] - m[4] + m[8]]);
}

/** Rotates a vector by a unit quaternion. */
export function rotate(q: Quaternion, v: Vec3): Vec3 {
  const u: Vec3 = [q[1], q[2], q[3]];
  const t = cross(u, v);
  const s = cross(u, t);
  return [v[0] + 2 * (q[0] * t[0] + s[0]), v[1] + 2 * (q[0] * t[1] + s[1]), v[2] + 2 * (q[0] * t[2] + s[2])];
}

/** Moves a point: target coordinates of a source point. */
export function transformPoint(targetFromSource: Pose, point: Vec3): Vec3 {
  const r = rotate(targetFromSource.rotation, point);
  const t = targetFromSource.translation;
  return [r[0] + t[0], r[1] + t[1], r[2] + t[2]];
}

/** `compose(worldFromA, aFromB)` is `worldFromB`. */
export function compose(outer: Pose, inner: Pose): Pose {
  return {
    rotation: normalizeQuaternion(multiplyQuaternions(outer.rotation, inner.rotation)),
    translation: transformPoint(outer, inner.translation),
  };
}

/** `invert(aFromB)` is `bFromA`. */
export function invert(pose: Pose): Pose {
  const q = pose.rotation;
  const rotation: Quaternion = [q[0], -q[1], -q[2], -q[3]];
  const t = rotate(rotation, pose.translation);
  return { rotation, translation: [-t[0], -t[1], -t[2]] };
}

/** Rotation by |v| radians about the axis v. */
export function quaternionOfVector(v: Vec3): Quaternion {
  const angle = Math.hypot(v[0], v[1], v[2]);
  // sin(a/2)/a by its series where the quotient would lose digits.
  const s = angle < 1e-4 ? 0.5 - (angle * angle) / 48 : Math.sin(angle / 2) / angle;
  return normalizeQuaternion([Math.cos(angle / 2), v[0] * s, v[1] * s, v[2] * s]);
}

/** Rotation vector (axis times angle, angle at most pi) of a unit quaternion. */
export function vectorOfQuaternion(q: Quaternion): Vec3 {
  const n = q[0] < 0 ? -1 : 1;
  const sine = Math.hypot(q[1], q[2], q[3]);
  const angle = 2 * Math.atan2(sine, q[0] * n);
  const s = sine < 1e-12 ? 2 * n : (angle / sine) * n;
  return [q[1] * s, q[2] * s, q[3] * s];
}

/**
 * Applies a small motion in the target frame, about a reference point: p' = c + R(r) (p - c) + t.
 *
 * The one perturbation convention of this project: left, in the target frame, order tx ty tz rx ry rz. Covariances of
 * poses are those of this six-vector, at a stated reference point (usually the scan's centre in the target frame), so
 * that they keep their digits however far from the origin the object lies.
 *
 * @param motion six numbers, mm and rad
 * @param reference c, mm, in the target frame
 */
export function perturb(pose: Pose, motion: ArrayLike<number>, reference: Vec3): Pose {
  const q = quaternionOfVector([motion[3] as number, motion[4] as number, motion[5] as number]);
  const arm = rotate(q, [
    pose.translation[0] - reference[0],
    pose.translation[1] - reference[1],
    pose.translation[2] - reference[2],
  ]);
  return {
    rotation: normalizeQuaternion(multiplyQuaternions(q, pose.rotation)),
    translation: [
      reference[0] + arm[0] + (motion[0] as number),
      reference[1] + arm[1] + (motion[1] as number),
      reference[2] + arm[2] + (motion[2] as number),
    ],
  };
}

/** 4 x 4, row-major, 16 numbers. */
export function poseToMatrix16(pose: Pose): number[] {
  const m = rotationMatrix(pose.rotation);
  const t = pose.translation;
  return [m[0], m[1], m[2], t[0], m[3], m[4], m[5], t[1], m[6], m[7], m[8], t[2], 0, 0, 0, 1];
}

/**
 * Pose of a 4 x 4 row-major matrix.
 *
 * @throws RangeError when it is no rigid motion (not orthonormal to 1e-6, mirrored, or a last row other than 0 0 0 1)
 */
export function poseFromMatrix16(m: ArrayLike<number>): Pose {
  const at = (i: number): number => m[i] as number;
  const r: Matrix3 = [at(0), at(1), at(2), at(4), at(5), at(6), at(8), at(9), at(10)];
  for (let i = 0; i < 3; i++) {
    for (let j = i; j < 3; j++) {
      let sum = 0;
      for (let k = 0; k < 3; k++) sum += (r[3 * i + k] as number) * (r[3 * j + k] as number);
      if (!(Math.abs(sum - (i === j ? 1 : 0)) < 1e-6)) throw new RangeError('The matrix is no rotation.');
    }
  }
  const determinant =
    r[0] * (r[4] * r[8] - r[5] * r[7]) - r[1] * (r[3] * r[8] - r[5] * r[6]) + r[2] * (r[3] * r[7] - r[4] * r[6]);
  if (determinant < 0) throw new RangeError('The matrix mirrors; a pose never does.');
  if (Math.abs(at(12)) + Math.abs(at(13)) + Math.abs(at(14)) + Math.abs(at(15) - 1) > 1e-9) {
    throw new RangeError('The last row of a pose matrix is 0 0 0 1.');
  }
  return { rotation: quaternionOfMatrix(r), translation: [at(3), at(7), at(11)] };
}

/** Angle of a rotation, rad, 0 to pi. */
export function rotationAngle(q: Quaternion): number {
  return 2 * Math.atan2(Math.hypot(q[1], q[2], q[3]), Math.abs(q[0]));
}
