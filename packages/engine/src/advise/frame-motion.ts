import { symmetricEigen, type Vec3 } from '../math/index.ts';
import type { PlaceUncertainty } from './advice.ts';
import { MOTION } from './joint-state.ts';

/** Covariance of one frame's seven motion numbers about its reference, in the part of the ties and that of the terms. */
export interface MotionCovariance {
  readonly reference: Vec3;
  readonly ties: Float64Array;
  readonly scale: Float64Array;
}

const COVERAGE = 2;

/** 3 x 3 covariance of a point that the motion carries: [I, -[arm]x, -arm] S [..]^T. */
function pointCovarianceOf(s: Float64Array, x: number, y: number, z: number): Float64Array {
  const half = new Float64Array(3 * MOTION);
  const out = new Float64Array(9);
  for (let c = 0; c < MOTION; c++) {
    const [t0, t1, t2, r0, r1, r2, e] = [s[c], s[7 + c], s[14 + c], s[21 + c], s[28 + c], s[35 + c], s[42 + c]];
    half[c] = t0 + r1 * z - r2 * y - e * x;
    half[7 + c] = t1 + r2 * x - r0 * z - e * y;
    half[14 + c] = t2 + r0 * y - r1 * x - e * z;
  }
  for (let i = 0; i < 3; i++) {
    const [t0, t1, t2, r0, r1, r2, e] = half.subarray(7 * i, 7 * i + 7);
    out[3 * i] = t0 + r1 * z - r2 * y - e * x;
    out[3 * i + 1] = t1 + r2 * x - r0 * z - e * y;
    out[3 * i + 2] = t2 + r0 * y - r1 * x - e * z;
  }
  return out;
}

/** Largest eigenvalue and its vector; the vector's largest component is positive. */
export function largestAxis(m: ArrayLike<number>): { readonly value: number; readonly direction: Vec3 } {
  const { values, vectors } = symmetricEigen(m, 3);
  const v = [vectors[2], vectors[5], vectors[8]] as const;
  const lead = v.reduce((a, b) => (Math.abs(b) > Math.abs(a) ? b : a), 0);
  const sign = lead < 0 ? -1 : 1;
  return { value: Math.max(0, values[2] as number), direction: [v[0] * sign, v[1] * sign, v[2] * sign] };
}

/** Uncertainty (k = 2, largest direction) of a place that the frame carries, and the direction of the total. */
export function placeUncertainty(
  motion: MotionCovariance,
  place: Vec3,
): PlaceUncertainty & { readonly direction: Vec3 } {
  const arm = [0, 1, 2].map((k) => place[k] - motion.reference[k]) as unknown as Vec3;
  const ties = pointCovarianceOf(motion.ties, ...arm);
  const scale = pointCovarianceOf(motion.scale, ...arm);
  const total = largestAxis(ties.map((v, i) => v + scale[i]));
  return {
    total: COVERAGE * Math.sqrt(total.value),
    ties: COVERAGE * Math.sqrt(largestAxis(ties).value),
    scale: COVERAGE * Math.sqrt(largestAxis(scale).value),
    direction: total.direction,
  };
}

/** 7 x 7: motion numbers about `place` from those about `reference`. */
export function motionAbout(place: Vec3, reference: Vec3): Float64Array {
  const [x, y, z] = [0, 1, 2].map((k) => place[k] - reference[k]) as [number, number, number];
  const out = new Float64Array(MOTION * MOTION);
  for (let k = 0; k < MOTION; k++) out[8 * k] = 1;
  // Shift of the place: t + r x arm - s arm.
  out.set([0, z, -y, -x], 3);
  out.set([-z, 0, x, -y], 10);
  out.set([y, -x, 0, -z], 17);
  return out;
}

/** A B for row-major matrices of r x m and m x c. */
export function product(a: ArrayLike<number>, b: ArrayLike<number>, r: number, m: number, c: number): Float64Array {
  const out = new Float64Array(r * c);
  for (let i = 0; i < r; i++) {
    for (let k = 0; k < m; k++) {
      const value = a[i * m + k] as number;
      if (value !== 0) for (let j = 0; j < c; j++) out[i * c + j] += value * (b[k * c + j] as number);
    }
  }
  return out;
}

/** A B^T for row-major matrices of r x m and c x m. */
export function productTransposed(
  a: ArrayLike<number>,
  b: ArrayLike<number>,
  r: number,
  m: number,
  c: number,
): Float64Array {
  const out = new Float64Array(r * c);
  for (let i = 0; i < r; i++) {
    for (let j = 0; j < c; j++) {
      let sum = 0;
      for (let k = 0; k < m; k++) sum += (a[i * m + k] as number) * (b[j * m + k] as number);
      out[i * c + j] = sum;
    }
  }
  return out;
}
