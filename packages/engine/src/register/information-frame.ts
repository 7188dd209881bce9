import { add, invert, type Matrix3, type Pose, rotationMatrix, transformPoint } from '../math/index.ts';
import type { QuadraticForm } from './motion-step.ts';
import type { PreparedScan } from './prepared-scan.ts';
import type { PoseInformation } from './refined-pose.ts';

/**
 * Expresses the form of a small motion of `aFromB` (in the frame of `a`) as that of the pose into the frame asked for.
 *
 * Method   with B's reference the image of A's, a motion (t, r) of aFromB is the motion (-Rᵀt, -Rᵀr) of its inverse.
 *
 * @param frame `a`: the pose aFromB; `b`: its inverse
 * @param aFromB between stored coordinates
 */
export function inFrameOf(
  frame: 'a' | 'b',
  form: QuadraticForm,
  count: number,
  aFromB: Pose,
  a: PreparedScan,
  b: PreparedScan,
): PoseInformation {
  const { squares, weightSum, radius } = form;
  const common = { squares, weightSum, radius, count };
  if (frame === 'a') {
    return {
      ...common,
      information: form.information,
      gradient: form.gradient,
      reference: add(a.origin, form.reference),
    };
  }
  const m = rotationMatrix(aFromB.rotation);
  return {
    ...common,
    information: turnInformation(form.information, m),
    gradient: turnGradient(form.gradient, m),
    reference: add(b.origin, transformPoint(invert(aFromB), form.reference)),
  };
}

/** Mᵀ H M with M = blockdiag(-R, -R): the signs cancel. */
function turnInformation(h: Float64Array, r: Matrix3): Float64Array {
  const half = new Float64Array(36);
  const out = new Float64Array(36);
  for (let i = 0; i < 6; i++) {
    for (let j = 0; j < 6; j++) {
      const block = j < 3 ? 0 : 3;
      for (let k = 0; k < 3; k++) half[6 * i + j] += h[6 * i + block + k] * r[3 * k + (j - block)];
    }
  }
  for (let i = 0; i < 6; i++) {
    const block = i < 3 ? 0 : 3;
    for (let j = 0; j < 6; j++) {
      for (let k = 0; k < 3; k++) out[6 * i + j] += r[3 * k + (i - block)] * half[6 * (block + k) + j];
    }
  }
  return out;
}

function turnGradient(g: Float64Array, r: Matrix3): Float64Array {
  const out = new Float64Array(6);
  for (let i = 0; i < 6; i++) {
    const block = i < 3 ? 0 : 3;
    for (let k = 0; k < 3; k++) out[i] -= r[3 * k + (i - block)] * g[block + k];
  }
  return out;
}
