import { symmetricEigen } from '../math/index.ts';
import type { JointCovariance } from '../model/index.ts';

/** A direction of the terms that varies by less than this share of the largest counts as known already. */
const LEAST_SHARE = 1e-13;

/**
 * The joint covariance as it were if all scale terms were known: what the ties leave uncertain. What is missing to the full
 * covariance is what the terms contribute.
 *
 * Method   conditional covariance of a normal distribution, C_ff - C_ft C_tt^-1 C_tf.
 *
 * @returns the same frames, no terms
 */
export function covarianceWithKnownTerms(joint: JointCovariance): JointCovariance {
  const side = 6 * joint.frames.length;
  const termCount = joint.terms.length;
  const full = side + termCount;
  const at = (i: number, j: number): number => joint.matrix[i * full + j];
  const terms = new Float64Array(termCount * termCount);
  for (let a = 0; a < termCount; a++) {
    for (let b = 0; b < termCount; b++) terms[a * termCount + b] = at(side + a, side + b);
  }
  const { values, vectors } = termCount === 0 ? { values: [], vectors: [] } : symmetricEigen(terms, termCount);
  const least = LEAST_SHARE * Math.max(0, ...values);
  const matrix = new Float64Array(side * side);
  for (let i = 0; i < side; i++) for (let j = 0; j < side; j++) matrix[i * side + j] = at(i, j);
  for (let k = 0; k < termCount; k++) {
    if (!(values[k] > least)) continue;
    const carried = new Float64Array(side);
    for (let i = 0; i < side; i++) {
      for (let a = 0; a < termCount; a++) carried[i] += at(i, side + a) * vectors[a * termCount + k];
    }
    for (let i = 0; i < side; i++) {
      const share = carried[i] / values[k];
      if (share !== 0) for (let j = 0; j < side; j++) matrix[i * side + j] -= share * carried[j];
    }
  }
  return { frames: joint.frames, terms: [], matrix };
}
