import { describe, expect, it } from 'vitest';
import {
  covarianceOfFrame,
  covarianceWithKnownTerms,
  type JointCovariance,
  makeRandom,
  pointUncertainty,
  type Vec3,
} from '../../src/index.ts';

const random = makeRandom(3, 'known-terms');

/** A random covariance of two frames known apart from three terms, and the full one with what the terms do. */
function makeJoint(): { readonly joint: JointCovariance; readonly tiesOnly: Float64Array } {
  const [side, termCount] = [12, 3];
  const full = side + termCount;
  const root = Array.from({ length: side * side }, () => 0.1 * random.normal());
  const tiesOnly = new Float64Array(side * side);
  for (let i = 0; i < side; i++)
    for (let j = 0; j < side; j++)
      for (let k = 0; k < side; k++) tiesOnly[i * side + j] += root[i * side + k] * root[j * side + k];
  // Gains of the adjustment: what one unit of each term does to the twelve numbers.
  const gains = Array.from({ length: side * termCount }, () => random.normal());
  const sigmas = [15e-6, 100e-6, 0.35e-6];
  const matrix = new Float64Array(full * full);
  for (let i = 0; i < full; i++) {
    for (let j = 0; j < full; j++) {
      let sum = i < side && j < side ? tiesOnly[i * side + j] : 0;
      for (let k = 0; k < termCount; k++) {
        const gain = (n: number): number => (n < side ? gains[n * termCount + k] : n - side === k ? 1 : 0);
        sum += gain(i) * gain(j) * sigmas[k] ** 2;
      }
      matrix[i * full + j] = sum;
    }
  }
  const joint: JointCovariance = {
    frames: [
      { frame: 'a', reference: [100, -50, 20] },
      { frame: 'b', reference: [2000, 300, -700] },
    ],
    terms: [
      { name: 'scale of x', coefficients: [1, 0] },
      { name: 'scale of y', coefficients: [0, 1] },
      { name: 'expansion', coefficients: [5, -3] },
    ],
    matrix,
  };
  return { joint, tiesOnly };
}

describe('covarianceWithKnownTerms', () => {
  it('takes away exactly what the terms put in', () => {
    const { joint, tiesOnly } = makeJoint();
    const known = covarianceWithKnownTerms(joint);
    expect(known.terms).toEqual([]);
    const scale = Math.max(...tiesOnly);
    known.matrix.forEach((value, i) => {
      expect(Math.abs(value - tiesOnly[i]) / scale).toBeLessThan(1e-12);
    });
  });

  it('leaves a covariance without terms as it is', () => {
    const { joint, tiesOnly } = makeJoint();
    expect(covarianceWithKnownTerms({ frames: joint.frames, terms: [], matrix: tiesOnly }).matrix).toEqual(tiesOnly);
  });
});

describe('covarianceOfFrame', () => {
  it('says the same of a point as the whole', () => {
    const { joint } = makeJoint();
    for (const frame of ['a', 'b']) {
      const own = covarianceOfFrame(joint, frame);
      if (own === null) throw new Error('There is no covariance.');
      const point: Vec3 = [random.normal() * 3000, random.normal() * 3000, random.normal() * 3000];
      expect(pointUncertainty(own, frame, point)).toEqual(pointUncertainty(joint, frame, point));
    }
    expect(covarianceOfFrame(joint, 'c')).toBeNull();
  });
});
