import { IDENTITY_POSE, type Pose, quaternionOfMatrix, rotationMatrix, symmetricEigen } from '../math/index.ts';
import type { Matrix3 } from '../math/pose.ts';

/** A rigid motion as 12 numbers, three rows of rotation and shift: quick to apply in inner loops. */
export type Motion = Float64Array;

/** The 12 numbers of a pose between two scans' own float32 frames. */
export function motionOfPose(pose: Pose): Motion {
  const r = rotationMatrix(pose.rotation);
  const t = pose.translation;
  return Float64Array.of(r[0], r[1], r[2], t[0], r[3], r[4], r[5], t[1], r[6], r[7], r[8], t[2]);
}

/** The pose of 12 numbers. */
export function poseOfMotion(m: Motion): Pose {
  const r: Matrix3 = [m[0], m[1], m[2], m[4], m[5], m[6], m[8], m[9], m[10]];
  return { rotation: quaternionOfMatrix(r), translation: [m[3], m[7], m[11]] };
}

/** The motion back. */
export function invertMotion(m: Motion): Motion {
  const out = new Float64Array(12);
  for (let i = 0; i < 3; i++) {
    for (let j = 0; j < 3; j++) out[4 * i + j] = m[4 * j + i];
    out[4 * i + 3] = -(m[i] * m[3] + m[4 + i] * m[7] + m[8 + i] * m[11]);
  }
  return out;
}

/** First `inner`, then `outer`. */
export function composeMotions(outer: Motion, inner: Motion): Motion {
  const out = new Float64Array(12);
  for (let i = 0; i < 3; i++) {
    for (let j = 0; j < 4; j++) {
      out[4 * i + j] =
        outer[4 * i] * inner[j] +
        outer[4 * i + 1] * inner[4 + j] +
        outer[4 * i + 2] * inner[8 + j] +
        (j === 3 ? outer[4 * i + 3] : 0);
    }
  }
  return out;
}

/** Rotation angle between two motions, rad. */
export function motionAngle(a: Motion, b: Motion): number {
  let trace = 0;
  for (let i = 0; i < 3; i++) for (let j = 0; j < 3; j++) trace += a[4 * i + j] * b[4 * i + j];
  return Math.acos(Math.min(1, Math.max(-1, (trace - 1) / 2)));
}

/** How far apart two motions put one point, mm. */
export function motionGap(a: Motion, b: Motion, point: ArrayLike<number>): number {
  let sum = 0;
  for (let i = 0; i < 3; i++) {
    let d = a[4 * i + 3] - b[4 * i + 3];
    for (let j = 0; j < 3; j++) d += (a[4 * i + j] - b[4 * i + j]) * (point[j] as number);
    sum += d * d;
  }
  return Math.sqrt(sum);
}

/**
 * Rigid motion that brings points with normals onto partners: each counts as itself and as a second point `reach` along
 * its normal, so that three points on a line are enough.
 *
 * Method   closed form by quaternions [Horn87].
 *
 * @param pairs indices into `from` and `to`, alternating
 */
export function fitOrientedPairs(
  from: Float32Array,
  fromNormals: Float32Array,
  to: Float32Array,
  toNormals: Float32Array,
  pairs: ArrayLike<number>,
  reach: number,
): Motion {
  const n = pairs.length / 2;
  if (n === 0) return motionOfPose(IDENTITY_POSE);
  const a = new Float64Array(6);
  const h = new Float64Array(9);
  for (let k = 0; k < n; k++) {
    const s = pairs[2 * k] as number;
    const t = pairs[2 * k + 1] as number;
    for (let i = 0; i < 3; i++) {
      a[i] += (from[3 * s + i] + 0.5 * reach * fromNormals[3 * s + i]) / n;
      a[3 + i] += (to[3 * t + i] + 0.5 * reach * toNormals[3 * t + i]) / n;
    }
  }
  for (let k = 0; k < n; k++) {
    const s = pairs[2 * k] as number;
    const t = pairs[2 * k + 1] as number;
    for (let end = 0; end < 2; end++) {
      for (let i = 0; i < 3; i++) {
        const p = from[3 * s + i] + end * reach * fromNormals[3 * s + i] - a[i];
        for (let j = 0; j < 3; j++) h[3 * i + j] += p * (to[3 * t + j] + end * reach * toNormals[3 * t + j] - a[3 + j]);
      }
    }
  }
  const [xx, xy, xz, yx, yy, yz, zx, zy, zz] = h as unknown as Matrix3;
  const eigen = symmetricEigen(
    [
      xx + yy + zz,
      yz - zy,
      zx - xz,
      xy - yx,
      yz - zy,
      xx - yy - zz,
      xy + yx,
      zx + xz,
      zx - xz,
      xy + yx,
      yy - xx - zz,
      yz + zy,
      xy - yx,
      zx + xz,
      yz + zy,
      zz - xx - yy,
    ],
    4,
  );
  const q = [0, 1, 2, 3].map((row) => eigen.vectors[row * 4 + 3]) as [number, number, number, number];
  const r = rotationMatrix(q);
  const out = new Float64Array(12);
  for (let i = 0; i < 3; i++) {
    let shift = a[3 + i];
    for (let j = 0; j < 3; j++) {
      out[4 * i + j] = r[3 * i + j];
      shift -= r[3 * i + j] * a[j];
    }
    out[4 * i + 3] = shift;
  }
  return out;
}
