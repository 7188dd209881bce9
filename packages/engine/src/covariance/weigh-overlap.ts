import { choleskyFactor } from '../math/index.ts';
import type { WeighedOverlap } from '../model/index.ts';
import { patchCovariance } from './patch-covariance.ts';
import type { OverlapErrors, PatchedOverlap } from './patched-overlap.ts';

/** Numbers of a weighed form: six of the motion and the stretch. */
export const FORM = 7;

/** An overlap weighed by generalised least squares. */
export interface WeighedPatches {
  readonly form: WeighedOverlap;
  /** C^-1 J7, seven numbers a patch: how much each patch's mean moves the gradient. */
  readonly pull: Float64Array;
}

/**
 * Weighs an overlap by the inverse of the covariance of its patch means.
 *
 * Method   generalised least squares (Aitken 1936); cost n^3 / 3 for n patches.
 */
export function weighOverlap(overlap: PatchedOverlap, errors: OverlapErrors): WeighedPatches {
  const { patches } = overlap;
  const n = patches.count;
  const factor = factorOfCovariance(patchCovariance(patches, errors), n, overlap.tie);
  const rows = formRows(overlap);
  // Columns of L^-1 [J7 r].
  const columns = new Float64Array((FORM + 1) * n);
  for (let c = 0; c <= FORM; c++) {
    for (let i = 0; i < n; i++) {
      let sum = c < FORM ? rows[FORM * i + c] : patches.residuals[i];
      for (let k = 0; k < i; k++) sum -= factor[i * n + k] * columns[c * n + k];
      columns[c * n + i] = sum / factor[i * n + i];
    }
  }
  const information = new Array<number>(FORM * FORM).fill(0);
  const gradient = new Array<number>(FORM).fill(0);
  let sumSquares = 0;
  for (let i = 0; i < n; i++) {
    const r = columns[FORM * n + i];
    sumSquares += r * r;
    for (let c = 0; c < FORM; c++) {
      gradient[c] += columns[c * n + i] * r;
      for (let d = 0; d < FORM; d++) information[FORM * c + d] += columns[c * n + i] * columns[d * n + i];
    }
  }
  const pull = new Float64Array(FORM * n);
  for (let c = 0; c < FORM; c++) {
    for (let i = n - 1; i >= 0; i--) {
      let sum = columns[c * n + i];
      for (let k = i + 1; k < n; k++) sum -= factor[k * n + i] * pull[FORM * k + c];
      pull[FORM * i + c] = sum / factor[i * n + i];
    }
  }
  return { form: { information, gradient, sumSquares, patchCount: n }, pull };
}

/** J7: the Jacobians and, seventh, what a stretch of scan A about the reference does. */
function formRows(overlap: PatchedOverlap): Float64Array {
  const { patches, reference } = overlap;
  const rows = new Float64Array(FORM * patches.count);
  for (let i = 0; i < patches.count; i++) {
    let stretch = 0;
    for (let a = 0; a < 3; a++) stretch += patches.jacobians[6 * i + a] * (patches.places[3 * i + a] - reference[a]);
    for (let c = 0; c < 6; c++) rows[FORM * i + c] = patches.jacobians[6 * i + c];
    rows[FORM * i + 6] = stretch;
  }
  return rows;
}

/** Lower Cholesky factor of a covariance of patch means. */
export function factorOfCovariance(matrix: Float64Array, n: number, tie: string): Float64Array {
  // Means over patches of different spread are only nearly a covariance: as much on the diagonal as it takes makes it one.
  for (let more = 0; more <= 1; more = more === 0 ? 1e-12 : more * 10) {
    const own = matrix.slice();
    for (let i = 0; i < n; i++) own[i * n + i] *= 1 + more;
    const factor = choleskyFactor(own, n);
    if (factor !== null) return factor;
  }
  throw new RangeError(`The patches of ${tie} have no covariance: a number is not finite.`);
}
