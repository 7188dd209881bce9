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
  let h00 = 0;
  let h10 = 0;
  let h11 = 0;
  let h20 = 0;
  let h21 = 0;
  let h22 = 0;
  let h30 = 0;
  let h31 = 0;
  let h32 = 0;
  let h33 = 0;
  let h40 = 0;
  let h41 = 0;
  let h42 = 0;
  let h43 = 0;
  let h44 = 0;
  let h50 = 0;
  let h51 = 0;
  let h52 = 0;
  let h53 = 0;
  let h54 = 0;
  let h55 = 0;
  let g0 = 0;
  let g1 = 0;
  let g2 = 0;
  let g3 = 0;
  let g4 = 0;
  let g5 = 0;
  let squares = 0;
  let spread = 0;
  // Written out: sums in variables, not in arrays, make this twice as fast, and it runs over every match at every step.
  for (let i = 0; i < count; i++) {
    const w = weights[i];
    if (!(w > 0)) continue;
    const x = levers[3 * i] - mx;
    const y = levers[3 * i + 1] - my;
    const z = levers[3 * i + 2] - mz;
    const j0 = normals[3 * i];
    const j1 = normals[3 * i + 1];
    const j2 = normals[3 * i + 2];
    const j3 = y * j2 - z * j1;
    const j4 = z * j0 - x * j2;
    const j5 = x * j1 - y * j0;
    const r = residuals[i];
    squares += w * r * r;
    spread += w * (x * x + y * y + z * z);
    const f0 = w * j0;
    h00 += f0 * j0;
    g0 += f0 * r;
    const f1 = w * j1;
    h10 += f1 * j0;
    h11 += f1 * j1;
    g1 += f1 * r;
    const f2 = w * j2;
    h20 += f2 * j0;
    h21 += f2 * j1;
    h22 += f2 * j2;
    g2 += f2 * r;
    const f3 = w * j3;
    h30 += f3 * j0;
    h31 += f3 * j1;
    h32 += f3 * j2;
    h33 += f3 * j3;
    g3 += f3 * r;
    const f4 = w * j4;
    h40 += f4 * j0;
    h41 += f4 * j1;
    h42 += f4 * j2;
    h43 += f4 * j3;
    h44 += f4 * j4;
    g4 += f4 * r;
    const f5 = w * j5;
    h50 += f5 * j0;
    h51 += f5 * j1;
    h52 += f5 * j2;
    h53 += f5 * j3;
    h54 += f5 * j4;
    h55 += f5 * j5;
    g5 += f5 * r;
  }
  const h = Float64Array.of(
    h00,
    h10,
    h20,
    h30,
    h40,
    h50,
    h10,
    h11,
    h21,
    h31,
    h41,
    h51,
    h20,
    h21,
    h22,
    h32,
    h42,
    h52,
    h30,
    h31,
    h32,
    h33,
    h43,
    h53,
    h40,
    h41,
    h42,
    h43,
    h44,
    h54,
    h50,
    h51,
    h52,
    h53,
    h54,
    h55,
  );
  const g = Float64Array.of(g0, g1, g2, g3, g4, g5);
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
