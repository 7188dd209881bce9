import type { FramePose, JointCovariance } from '../model/index.ts';
import type { NetworkUnknowns } from './linear-link.ts';
import type { NetworkModel } from './network-model.ts';
import type { StatedCovariance } from './stated-covariance.ts';

/**
 * Covariance of all placed frames and scale terms in the units of the job: mm, rad, relative lengths. Fixed frames have zeros.
 *
 * @param factor what the stated covariance is multiplied by
 */
export function joinCovariance(
  model: NetworkModel,
  unknowns: NetworkUnknowns,
  stated: StatedCovariance,
  frames: readonly FramePose[],
  factor: number,
): JointCovariance {
  const placed = frames.flatMap((f, i) => (f.jobFromFrame && f.covarianceReference ? [{ pose: f, i }] : []));
  const total = stated.offsets[stated.sizes.length];
  // Of each row of the result: its row among the stated unknowns (-1: fixed) and the length it is a part of.
  const rows: number[] = [];
  const units: number[] = [];
  for (const { i } of placed) {
    const block = unknowns.blockOfFrame[i];
    for (let k = 0; k < 6; k++) {
      rows.push(block < 0 ? -1 : stated.offsets[block] + k);
      units.push(k < 3 ? 1 : (model.radii[i] as number));
    }
  }
  for (const block of stated.blockOfTerm) {
    rows.push(stated.offsets[block]);
    units.push(1);
  }
  const n = rows.length;
  const matrix = new Float64Array(n * n);
  for (let r = 0; r < n; r++) {
    const from = rows[r] as number;
    if (from < 0) continue;
    for (let c = 0; c < n; c++) {
      const at = rows[c] as number;
      if (at >= 0)
        matrix[r * n + c] = (factor * stated.matrix[from * total + at]) / ((units[r] as number) * (units[c] as number));
    }
  }
  return {
    frames: placed.map(({ pose }) => ({
      frame: pose.frame,
      reference: pose.covarianceReference as NonNullable<FramePose['covarianceReference']>,
    })),
    terms: model.terms.map((t) => ({ name: t.name, coefficients: placed.map(({ i }) => t.coefficients[i]) })),
    matrix,
  };
}
