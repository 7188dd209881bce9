import { type Pose, perturb, type Vec3 } from '../math/index.ts';
import type { Observations } from './plane-matching.ts';
import { MAD_FACTOR, medianInPlace, TUKEY_CONSTANT, tukeyWeight } from './robust-scale.ts';
import { analyseInformation, type InformationAnalysis } from './weak-directions.ts';

/** Quadratic form of the point-to-plane distances in a small motion (left perturbation, order tx ty tz rx ry rz). */
export interface QuadraticForm {
  /** Sum of w J J^T, 6 x 6 row-major. */
  readonly information: Float64Array;
  /** Sum of w J r. */
  readonly gradient: Float64Array;
  /** Sum of w r^2, mm^2. */
  readonly squares: number;
  /** Sum of w. */
  readonly weightSum: number;
  /** Point about which the motion turns, mm. */
  readonly reference: Vec3;
  /** Weighted root mean square distance of the levers from the reference, mm. */
  readonly radius: number;
}

/** Sums up the normal equations of weighted observations, about their weighted mean. */
export function sumObservations(observations: Observations): QuadraticForm {
  const { count, levers, normals, residuals, weights } = observations;
  let sum = 0;
  let mx = 0;
  let my = 0;
  let mz = 0;
  for (let i = 0; i < count; i++) {
    const w = weights[i];
    sum += w;
    mx += w * levers[3 * i];
    my += w * levers[3 * i + 1];
    mz += w * levers[3 * i + 2];
  }
  if (sum > 0) {
    mx /= sum;
    my /= sum;
    mz /= sum;
  }
  const h = new Float64Array(36);
  const g = new Float64Array(6);
  const j = new Float64Array(6);
  let squares = 0;
  let spread = 0;
  for (let i = 0; i < count; i++) {
    const w = weights[i];
    if (!(w > 0)) continue;
    const x = levers[3 * i] - mx;
    const y = levers[3 * i + 1] - my;
    const z = levers[3 * i + 2] - mz;
    const nx = normals[3 * i];
    const ny = normals[3 * i + 1];
    const nz = normals[3 * i + 2];
    j[0] = nx;
    j[1] = ny;
    j[2] = nz;
    j[3] = y * nz - z * ny;
    j[4] = z * nx - x * nz;
    j[5] = x * ny - y * nx;
    const r = residuals[i];
    squares += w * r * r;
    spread += w * (x * x + y * y + z * z);
    for (let a = 0; a < 6; a++) {
      const f = w * j[a];
      g[a] += f * r;
      for (let b = 0; b <= a; b++) h[6 * a + b] += f * j[b];
    }
  }
  for (let a = 0; a < 6; a++) for (let b = a + 1; b < 6; b++) h[6 * a + b] = h[6 * b + a];
  return {
    information: h,
    gradient: g,
    squares,
    weightSum: sum,
    reference: [mx, my, mz],
    radius: sum > 0 ? Math.sqrt(spread / sum) : 0,
  };
}

/**
 * Sets the weights to Tukey's, with a scale from the data.
 *
 * @param base weights to multiply with, or null
 * @param scaleFloor mm; residuals below count as fitting
 * @returns the scale used, mm
 */
export function weighRobustly(observations: Observations, base: Float64Array | null, scaleFloor: number): number {
  const { count, residuals, weights } = observations;
  const scratch = new Float64Array(count);
  for (let i = 0; i < count; i++) scratch[i] = Math.abs(residuals[i]);
  const scale = Math.max(MAD_FACTOR * medianInPlace(scratch, count), scaleFloor);
  // All residuals zero: every one fits.
  const reach = scale > 0 ? TUKEY_CONSTANT * scale : 1;
  for (let i = 0; i < count; i++) weights[i] = tukeyWeight(residuals[i], reach) * (base === null ? 1 : base[i]);
  return scale;
}

/** Motion that minimises the quadratic form in the directions that are held; the others stay. */
export function solveHeldMotion(
  form: QuadraticForm,
  normalNoise: number,
): { motion: Float64Array; analysis: InformationAnalysis } {
  const analysis = analyseInformation(form.information, form.weightSum, form.reference, form.radius, normalNoise);
  const motion = new Float64Array(6);
  if (!(form.weightSum > 0)) return { motion, analysis };
  const { values, vectors } = analysis;
  const scaleOf = (i: number): number => (i < 3 ? 1 : form.radius > 0 ? 1 / form.radius : 0);
  for (let k = analysis.freeCount; k < 6; k++) {
    let projection = 0;
    for (let i = 0; i < 6; i++) projection += vectors[6 * i + k] * form.gradient[i] * scaleOf(i);
    const size = -projection / (values[k] * form.weightSum);
    for (let i = 0; i < 6; i++) motion[i] += size * vectors[6 * i + k] * scaleOf(i);
  }
  return { motion, analysis };
}

/** Root mean square shift of points spread with a radius about the reference, mm. */
export function motionSize(motion: ArrayLike<number>, radius: number): number {
  const m = (i: number): number => motion[i] as number;
  const turn = m(3) ** 2 + m(4) ** 2 + m(5) ** 2;
  return Math.sqrt(m(0) ** 2 + m(1) ** 2 + m(2) ** 2 + (2 / 3) * turn * radius * radius);
}

/** The pose after a motion about the form's reference. */
export function movePose(pose: Pose, motion: ArrayLike<number>, form: QuadraticForm): Pose {
  return perturb(pose, motion, form.reference);
}
