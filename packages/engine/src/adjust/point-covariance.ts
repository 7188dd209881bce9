import { type Matrix3, symmetricEigen, type Vec3 } from '../math/index.ts';
import type { FramePose } from '../model/index.ts';

/** Uncertainty of one point that a frame carries, from the frame's pose alone. */
export interface PointCovariance {
  /** 3 x 3 row-major, mm^2, in the axes of the job. */
  readonly covariance: Matrix3;
  /** Largest semi-axis of the ellipsoid at k = 2, mm. */
  readonly largestSemiAxis: number;
}

/** Coverage factor of stated uncertainties (JCGM 100). */
const COVERAGE = 2;

/**
 * What the uncertainty of a frame's pose does at a point: the lever arm.
 *
 * Frames   `point` and the result in the job's frame, mm.
 * Method   J C J^T with J = [I, -[point - reference]x] (law of propagation, JCGM 100 5.2.2).
 *
 * @returns null when the frame has no pose or no covariance
 */
export function pointCovariance(frame: FramePose, point: Vec3): PointCovariance | null {
  if (!frame.covariance || !frame.covarianceReference) return null;
  const covariance = propagate(frame.covariance, frame.covarianceReference, point[0], point[1], point[2]);
  return {
    covariance,
    largestSemiAxis: COVERAGE * Math.sqrt(Math.max(0, symmetricEigen(covariance, 3).values[2] as number)),
  };
}

/**
 * Largest semi-axis at k = 2 for many points, mm: the number on the map.
 *
 * @param positions xyz interleaved, relative to `origin`, in the job's frame
 * @returns one number a point; null when the frame has no pose or no covariance
 */
export function pointUncertainties(frame: FramePose, positions: Float32Array, origin: Vec3): Float32Array | null {
  const c = frame.covariance;
  const reference = frame.covarianceReference;
  if (!c || !reference) return null;
  const count = positions.length / 3;
  const out = new Float32Array(count);
  for (let i = 0; i < count; i++) {
    const m = propagate(
      c,
      reference,
      origin[0] + positions[3 * i],
      origin[1] + positions[3 * i + 1],
      origin[2] + positions[3 * i + 2],
    );
    out[i] = COVERAGE * Math.sqrt(Math.max(0, largestEigenvalue3(m)));
  }
  return out;
}

/** J C J^T of a pose's covariance at a point. */
export function propagate(c: ArrayLike<number>, reference: Vec3, px: number, py: number, pz: number): Matrix3 {
  const at = (i: number, j: number): number => c[6 * i + j] as number;
  const x = px - reference[0];
  const y = py - reference[1];
  const z = pz - reference[2];
  // Rows of [I, -[arm]x]: dp = t + r x arm.
  // T = C_tr + arm-part: first D = J C for the rotation columns.
  const row = (i: number): [number, number, number] => {
    const [p, q, r] = [at(i, 3), at(i, 4), at(i, 5)];
    return [q * z - r * y, r * x - p * z, p * y - q * x];
  };
  const [t0, t1, t2] = [row(0), row(1), row(2)];
  const [r0, r1, r2] = [row(3), row(4), row(5)];
  // Second half: apply the same to the rotation rows.
  const turn = (k: 0 | 1 | 2): [number, number, number] => [
    r1[k] * z - r2[k] * y,
    r2[k] * x - r0[k] * z,
    r0[k] * y - r1[k] * x,
  ];
  const [u0, u1, u2] = [turn(0), turn(1), turn(2)];
  const xy = at(0, 1) + t0[1] + t1[0] + (u0[1] + u1[0]) / 2;
  const xz = at(0, 2) + t0[2] + t2[0] + (u0[2] + u2[0]) / 2;
  const yz = at(1, 2) + t1[2] + t2[1] + (u1[2] + u2[1]) / 2;
  return [
    at(0, 0) + 2 * t0[0] + u0[0],
    xy,
    xz,
    xy,
    at(1, 1) + 2 * t1[1] + u1[1],
    yz,
    xz,
    yz,
    at(2, 2) + 2 * t2[2] + u2[2],
  ];
}

/** Largest eigenvalue of a symmetric 3 x 3 matrix in closed form (Smith 1961); good to 1e-14 of itself. */
export function largestEigenvalue3(m: Matrix3): number {
  const mean = (m[0] + m[4] + m[8]) / 3;
  const [a, b, c] = [m[0] - mean, m[4] - mean, m[8] - mean];
  const square = (a * a + b * b + c * c + 2 * (m[1] * m[1] + m[2] * m[2] + m[5] * m[5])) / 6;
  if (!(square > 0)) return mean;
  const p = Math.sqrt(square);
  const determinant = a * (b * c - m[5] * m[5]) - m[1] * (m[1] * c - m[5] * m[2]) + m[2] * (m[1] * m[5] - b * m[2]);
  const cosine = Math.max(-1, Math.min(1, determinant / (2 * p * p * p)));
  return mean + 2 * p * Math.cos(Math.acos(cosine) / 3);
}
