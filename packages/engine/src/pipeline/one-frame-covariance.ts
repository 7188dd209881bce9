import type { JointCovariance } from '../model/index.ts';

/** The part of a joint covariance that concerns one frame and the scale terms; null when the frame is not in it. */
export function covarianceOfFrame(joint: JointCovariance, frame: string): JointCovariance | null {
  const f = joint.frames.findIndex((item) => item.frame === frame);
  if (f < 0) return null;
  const frameSide = 6 * joint.frames.length;
  const full = frameSide + joint.terms.length;
  const rows = [0, 1, 2, 3, 4, 5].map((k) => 6 * f + k).concat(joint.terms.map((_, k) => frameSide + k));
  const side = rows.length;
  const matrix = new Float64Array(side * side);
  rows.forEach((from, i) => {
    rows.forEach((to, j) => {
      matrix[i * side + j] = joint.matrix[from * full + to];
    });
  });
  const terms = joint.terms.map(({ name, coefficients }) => ({ name, coefficients: [coefficients[f]] }));
  return { frames: [joint.frames[f]], terms, matrix };
}
