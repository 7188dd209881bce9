import type { OverlapPatches } from '../model/index.ts';
import { fieldCorrelation } from './patch-kernel.ts';
import type { OverlapErrors } from './patched-overlap.ts';

/**
 * Share of a smooth match's independent part that it does not share with its neighbours: their neighbourhoods differ by
 * whole points. It also keeps the covariance of patches that lie close from being singular.
 */
const UNSHARED = 0.1;

/** Errors that are independent from point to point, with the variance of one match, as the covariance of patch means sees them. */
export function independentErrors(variance: number, smoothing: number, shareOfA: number): OverlapErrors {
  if (!(smoothing > 0)) return { nugget: variance, nuggetShareOfA: shareOfA, fields: [] };
  return {
    nugget: UNSHARED * variance,
    nuggetShareOfA: shareOfA,
    fields: [{ variance: (1 - UNSHARED) * variance, length: smoothing, shareOfA }],
  };
}

/** As much of an overlap's errors as the covariance of its own patches needs. */
interface PatchErrors {
  readonly nugget: number;
  readonly fields: readonly { readonly variance: number; readonly length: number }[];
}

/** Covariance of the patch means, n x n, mm^2. */
export function patchCovariance(patches: OverlapPatches, errors: PatchErrors): Float64Array {
  const { count: n, places, spreads, weights } = patches;
  const matrix = new Float64Array(n * n);
  for (let i = 0; i < n; i++) {
    for (let j = 0; j <= i; j++) {
      const dx = places[3 * i] - places[3 * j];
      const dy = places[3 * i + 1] - places[3 * j + 1];
      const dz = places[3 * i + 2] - places[3 * j + 2];
      const square = dx * dx + dy * dy + dz * dz;
      let sum = i === j ? errors.nugget / weights[i] : 0;
      for (const { variance, length } of errors.fields)
        sum += variance * fieldCorrelation(square, spreads[i], spreads[j], length);
      matrix[i * n + j] = sum;
      matrix[j * n + i] = sum;
    }
  }
  return matrix;
}
