import { symmetricEigen, type Vec3 } from '../math/index.ts';
import type { JointCovariance } from '../model/index.ts';

/** Numbers of one frame's motion: shift, rotation and stretch about a point (tx ty tz rx ry rz s). */
export const MOTION = 7;

/**
 * The joint covariance taken apart: what ties decide and what terms that nobody estimates add.
 *
 * The error of the state is x = K e + x0: e are the considered terms (covariance `terms`), K what the adjustment's answer makes of
 * them, x0 the rest. A tie that is added changes x0 as in any adjustment, and K by the same gain; e itself stays, because
 * the adjustment does not estimate it [Schmidt66, consider covariance].
 *
 * Each frame's motion is seven numbers about its reference; a point at p moves by t + r x (p - reference) - s (p - reference).
 */
export interface JointState {
  readonly frames: readonly string[];
  readonly references: readonly Vec3[];
  /** 7 x 7 covariance between the motions of two frames when the considered terms are known; zero for index -1. */
  readonly between: (i: number, j: number) => Float64Array;
  /** 7 x termCount: what the considered terms do to the motion of a frame. */
  readonly sensitivity: (i: number) => Float64Array;
  readonly termCount: number;
  /** Covariance of the considered terms. */
  readonly terms: Float64Array;
}

/** Takes a joint covariance apart. `estimated`: names of the terms that the adjustment estimates. */
export function openJointCovariance(joint: JointCovariance, estimated: readonly string[]): JointState {
  const frameCount = joint.frames.length;
  const size = 6 * frameCount + joint.terms.length;
  if (joint.matrix.length !== size * size) throw new RangeError('The joint covariance has not the size of its state.');
  const at = (i: number, j: number): number => joint.matrix[i * size + j];
  const termAt = joint.terms.map((_, k) => 6 * frameCount + k);
  const own = joint.terms.flatMap((term, k) => (estimated.includes(term.name) ? [k] : []));
  const considered = joint.terms.flatMap((term, k) => (estimated.includes(term.name) ? [] : [k]));
  const state = [...Array.from({ length: 6 * frameCount }, (_, i) => i), ...own.map((k) => termAt[k] as number)];
  const q = considered.length;
  const n = state.length;
  const terms = new Float64Array(q * q);
  for (let a = 0; a < q; a++)
    for (let b = 0; b < q; b++) terms[a * q + b] = at(termAt[considered[a]] as number, termAt[considered[b]] as number);
  const inverse = generalInverse(terms, q);
  const gains = new Float64Array(n * q);
  for (let i = 0; i < n; i++) {
    for (let b = 0; b < q; b++) {
      let sum = 0;
      for (let a = 0; a < q; a++) sum += at(state[i], termAt[considered[a]] as number) * inverse[a * q + b];
      gains[i * q + b] = sum;
    }
  }
  const conditional = (i: number, j: number): number => {
    let sum = at(state[i], state[j]);
    for (let a = 0; a < q; a++) sum -= gains[i * q + a] * at(termAt[considered[a]] as number, state[j]);
    return sum;
  };
  const stretchOf = (frame: number): number[] => own.map((k) => joint.terms[k]?.coefficients[frame] ?? 0);

  const between = (i: number, j: number): Float64Array => {
    const out = new Float64Array(MOTION * MOTION);
    if (i < 0 || j < 0) return out;
    for (let a = 0; a < 6; a++) for (let b = 0; b < 6; b++) out[MOTION * a + b] = conditional(6 * i + a, 6 * j + b);
    const [si, sj] = [stretchOf(i), stretchOf(j)];
    for (let a = 0; a < 6; a++) {
      for (let k = 0; k < own.length; k++) {
        const term = 6 * frameCount + k;
        out[MOTION * a + 6] += (sj[k] as number) * conditional(6 * i + a, term);
        out[MOTION * 6 + a] += (si[k] as number) * conditional(term, 6 * j + a);
      }
    }
    for (let k = 0; k < own.length; k++)
      for (let l = 0; l < own.length; l++)
        out[48] += (si[k] as number) * (sj[l] as number) * conditional(6 * frameCount + k, 6 * frameCount + l);
    return out;
  };
  const sensitivity = (i: number): Float64Array => {
    const out = new Float64Array(MOTION * q);
    if (i < 0) return out;
    const stretch = stretchOf(i);
    for (let b = 0; b < q; b++) {
      for (let a = 0; a < 6; a++) out[a * q + b] = gains[(6 * i + a) * q + b];
      out[6 * q + b] = joint.terms[considered[b]]?.coefficients[i] ?? 0;
      for (let k = 0; k < own.length; k++)
        out[6 * q + b] += (stretch[k] as number) * gains[(6 * frameCount + k) * q + b];
    }
    return out;
  };
  return {
    frames: joint.frames.map((f) => f.frame),
    references: joint.frames.map((f) => f.reference),
    between,
    sensitivity,
    termCount: q,
    terms,
  };
}

/** Inverse of a symmetric matrix over the directions that it has (Moore-Penrose). */
export function generalInverse(matrix: ArrayLike<number>, n: number): Float64Array {
  const out = new Float64Array(n * n);
  if (n === 0) return out;
  const { values, vectors } = symmetricEigen(matrix, n);
  const largest = values.reduce((a, b) => Math.max(a, Math.abs(b)), 0);
  for (let k = 0; k < n; k++) {
    const value = values[k] as number;
    if (!(value > 1e-13 * largest)) continue;
    for (let i = 0; i < n; i++)
      for (let j = 0; j < n; j++) out[i * n + j] += (vectors[i * n + k] * vectors[j * n + k]) / value;
  }
  return out;
}
