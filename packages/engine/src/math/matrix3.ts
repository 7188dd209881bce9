import { type Matrix3, type Quaternion, rotationMatrix } from './pose.ts';
import type { Vec3 } from './vec3.ts';

/** a times b. */
export function multiplyMatrix3(a: Matrix3, b: Matrix3): Matrix3 {
  const entry = (i: number, j: number): number =>
    (a[3 * i] as number) * (b[j] as number) +
    (a[3 * i + 1] as number) * (b[3 + j] as number) +
    (a[3 * i + 2] as number) * (b[6 + j] as number);
  return [
    entry(0, 0),
    entry(0, 1),
    entry(0, 2),
    entry(1, 0),
    entry(1, 1),
    entry(1, 2),
    entry(2, 0),
    entry(2, 1),
    entry(2, 2),
  ];
}

/** Rows and columns exchanged. */
export function transposeMatrix3(m: Matrix3): Matrix3 {
  return [m[0], m[3], m[6], m[1], m[4], m[7], m[2], m[5], m[8]];
}

/** m times v. */
export function multiplyMatrix3Vector(m: Matrix3, v: Vec3): Vec3 {
  return [
    m[0] * v[0] + m[1] * v[1] + m[2] * v[2],
    m[3] * v[0] + m[4] * v[1] + m[5] * v[2],
    m[6] * v[0] + m[7] * v[1] + m[8] * v[2],
  ];
}

/** Covariance of a rotated vector: R C R^T. */
export function rotateCovariance3(rotation: Quaternion, covariance: Matrix3): Matrix3 {
  const r = rotationMatrix(rotation);
  return multiplyMatrix3(multiplyMatrix3(r, covariance), transposeMatrix3(r));
}

/** Inverse of a symmetric positive definite 3 x 3 matrix by its adjugate, or null when it is singular or indefinite. */
export function invertSymmetric3(m: Matrix3): Matrix3 | null {
  const c00 = m[4] * m[8] - m[5] * m[5];
  const c01 = m[2] * m[5] - m[1] * m[8];
  const c02 = m[1] * m[5] - m[2] * m[4];
  const determinant = m[0] * c00 + m[1] * c01 + m[2] * c02;
  // A determinant lost in the rounding of its own terms says nothing.
  if (!(m[0] > 0 && c00 > 0 && determinant > 1e-14 * m[0] * m[4] * m[8])) return null;
  const s = 1 / determinant;
  const c11 = m[0] * m[8] - m[2] * m[2];
  const c12 = m[1] * m[2] - m[0] * m[5];
  const c22 = m[0] * m[4] - m[1] * m[1];
  return [c00 * s, c01 * s, c02 * s, c01 * s, c11 * s, c12 * s, c02 * s, c12 * s, c22 * s];
}

/** The matrix `variance` times identity: covariance of a point whose coordinates are equally uncertain. */
export function isotropicCovariance(sigma: number): Matrix3 {
  const variance = sigma * sigma;
  return [variance, 0, 0, 0, variance, 0, 0, 0, variance];
}
