import type { Random } from '../base/index.ts';
import { choleskyFactor } from './cholesky.ts';

/** Draws one value of an input quantity (JCGM 101, table 1). */
export type InputDistribution = (random: Random) => number;

/** Normal: a value with a standard uncertainty. */
export function normalInput(mean: number, standardUncertainty: number): InputDistribution {
  return (random) => mean + standardUncertainty * random.normal();
}

/** Rectangular: anywhere between two limits alike. */
export function rectangularInput(low: number, high: number): InputDistribution {
  return (random) => low + (high - low) * random.uniform();
}

/** Triangular, symmetric: the sum of two rectangular ones of equal width. */
export function triangularInput(low: number, high: number): InputDistribution {
  return (random) => low + ((high - low) / 2) * (random.uniform() + random.uniform());
}

/** Arcsine: a value that swings between two limits. */
export function arcsineInput(low: number, high: number): InputDistribution {
  return (random) => (low + high) / 2 + ((high - low) / 2) * Math.sin(2 * Math.PI * random.uniform());
}

/** Scaled and shifted Student: the mean of repeated readings with the standard uncertainty found from them. */
export function studentInput(mean: number, standardUncertainty: number, degreesOfFreedom: number): InputDistribution {
  if (!Number.isInteger(degreesOfFreedom) || degreesOfFreedom < 1) {
    throw new RangeError('Degrees of freedom of readings are a whole number, at least one.');
  }
  return (random) => {
    let square = 0;
    for (let i = 0; i < degreesOfFreedom; i++) square += random.normal() ** 2;
    return mean + (standardUncertainty * random.normal()) / Math.sqrt(square / degreesOfFreedom);
  };
}

/** Draws all inputs at once, independent of each other. */
export function independentInputs(inputs: readonly InputDistribution[]): (random: Random) => Float64Array {
  return (random) => Float64Array.from(inputs, (draw) => draw(random));
}

/**
 * Draws all inputs at once from a joint normal distribution.
 *
 * @param covariance n x n row-major, positive definite
 */
export function jointNormalInputs(
  means: ArrayLike<number>,
  covariance: ArrayLike<number>,
): (random: Random) => Float64Array {
  const n = means.length;
  const factor = choleskyFactor(covariance, n);
  if (!factor) throw new RangeError('The covariance of the inputs is not positive definite.');
  return (random) => {
    const z = Float64Array.from({ length: n }, () => random.normal());
    return Float64Array.from({ length: n }, (_, i) => {
      let sum = means[i] as number;
      for (let k = 0; k <= i; k++) sum += factor[i * n + k] * z[k];
      return sum;
    });
  };
}
