import { choleskyFactor, choleskySolve, tridiagonalForm } from '../math/index.ts';
import type { OverlapPatches } from '../model/index.ts';
import type { ErrorCandidates } from './error-candidates.ts';
import { independentErrors, patchCovariance } from './patch-covariance.ts';
import { factorOfCovariance } from './weigh-overlap.ts';

/** One overlap whose candidates are to be weighed. Plain data. */
export interface LikelihoodTask {
  readonly patches: OverlapPatches;
  /** Correlation length of what smoothing made of independent errors, mm; 0: none. */
  readonly smoothing: number;
  /** Expected standard deviation of the difference of both scans, mm: unit of strengths and nuggets. */
  readonly noise: number;
  readonly candidates: ErrorCandidates;
}

/** What one overlap says about the candidates: entry length x strengths + strength. */
export interface ErrorLikelihood {
  /** Logarithm of the restricted likelihood, integrated over the independent part. */
  readonly logLikelihood: Float64Array;
  /** Mean variance of the independent part of one match, mm^2, if the candidate is true. */
  readonly independent: Float64Array;
}

/** Pose numbers that an overlap's own answer takes from the residuals. */
const POSE = 6;

/**
 * Restricted likelihood of every candidate, given the residual means of one overlap's patches.
 *
 * Method   residuals = Jacobian x motion + errors, errors with covariance strength^2 K(length) + variance x that of independent points; the
 *          motion is free (Patterson & Thompson 1971: the fitted pose eats long waves, the restriction gives them back). For
 *          each length K, whitened by the independent part, is made tridiagonal once; then a candidate costs no more than its number of patches.
 */
export function errorLikelihood({ patches, smoothing, noise, candidates }: LikelihoodTask): ErrorLikelihood {
  const n = patches.count;
  const { lengths, strengths, nuggets } = candidates;
  const size = lengths.length * strengths.length;
  const logLikelihood = new Float64Array(size);
  const independent = new Float64Array(size);
  const base = patchCovariance(patches, independentErrors(1, smoothing, 0.5));
  const factor = factorOfCovariance(base, n, 'this overlap');
  const scales = columnScales(patches);
  const logs = new Float64Array(nuggets.length);
  for (const [l, length] of lengths.entries()) {
    const matrix = whitenedField(patches, factor, length);
    const columns = whitenedColumns(patches, factor, scales, noise);
    const form = tridiagonalForm(matrix, n, columns, POSE + 1);
    for (const [s, strength] of strengths.entries()) {
      // Without a correlated part the length means nothing: the first one stands for all.
      if (strength === 0 && l > 0) {
        logLikelihood[l * strengths.length + s] = logLikelihood[s];
        independent[l * strengths.length + s] = independent[s];
        continue;
      }
      let most = Number.NEGATIVE_INFINITY;
      for (const [v, variance] of nuggets.entries()) {
        logs[v] = restrictedLogLikelihood(form, n, strength * strength, variance);
        most = Math.max(most, logs[v]);
      }
      let sum = 0;
      let mean = 0;
      for (const [v, variance] of nuggets.entries()) {
        const p = Math.exp(logs[v] - most);
        sum += p;
        mean += p * variance;
      }
      logLikelihood[l * strengths.length + s] = most + Math.log(sum / nuggets.length);
      independent[l * strengths.length + s] = (mean / sum) * noise * noise;
    }
  }
  return { logLikelihood, independent };
}

/** Root mean square of each Jacobian column, so that the six numbers are alike. */
function columnScales(patches: OverlapPatches): Float64Array {
  const scales = new Float64Array(POSE);
  for (let i = 0; i < patches.count; i++)
    for (let c = 0; c < POSE; c++) scales[c] += patches.jacobians[POSE * i + c] ** 2;
  return scales.map((s) => (s > 0 ? Math.sqrt(s / patches.count) : 1));
}

/** L^-1 [Jacobians, residuals] with the factor of the independent part's covariance. */
function whitenedColumns(
  patches: OverlapPatches,
  factor: Float64Array,
  scales: Float64Array,
  noise: number,
): Float64Array {
  const n = patches.count;
  const columns = new Float64Array((POSE + 1) * n);
  for (let c = 0; c <= POSE; c++) {
    for (let i = 0; i < n; i++) {
      let sum = c < POSE ? patches.jacobians[POSE * i + c] / scales[c] : patches.residuals[i] / noise;
      for (let k = 0; k < i; k++) sum -= factor[i * n + k] * columns[c * n + k];
      columns[c * n + i] = sum / factor[i * n + i];
    }
  }
  return columns;
}

/** L^-1 K L^-T: correlations of the patch means, whitened so that the independent part is the identity. */
function whitenedField(patches: OverlapPatches, factor: Float64Array, length: number): Float64Array {
  const n = patches.count;
  const matrix = patchCovariance(patches, { nugget: 0, fields: [{ variance: 1, length }] });
  // Rows, then by symmetry the columns.
  for (let pass = 0; pass < 2; pass++) {
    for (let i = 0; i < n; i++) {
      const row = i * n;
      for (let k = 0; k < i; k++) {
        const f = factor[row + k];
        const from = k * n;
        if (f !== 0) for (let j = 0; j < n; j++) matrix[row + j] -= f * matrix[from + j];
      }
      const own = 1 / factor[row + i];
      for (let j = 0; j < n; j++) matrix[row + j] *= own;
    }
    if (pass === 0) transpose(matrix, n);
  }
  return matrix;
}

function transpose(matrix: Float64Array, n: number): void {
  for (let i = 0; i < n; i++) {
    for (let j = 0; j < i; j++) {
      const value = matrix[i * n + j];
      matrix[i * n + j] = matrix[j * n + i];
      matrix[j * n + i] = value;
    }
  }
}

const CROSS = POSE + 1;

/** Restricted log-likelihood, up to a constant, of covariance a T + b I on the turned columns. */
function restrictedLogLikelihood(
  form: { readonly diagonal: Float64Array; readonly offDiagonal: Float64Array; readonly columns: Float64Array },
  n: number,
  a: number,
  b: number,
): number {
  // L D L^T of the tridiagonal matrix and S = Z^T (a T + b I)^-1 Z on the way.
  const s = new Float64Array(CROSS * CROSS);
  const y = new Float64Array(CROSS);
  let logDeterminant = 0;
  let pivot = 0;
  for (let i = 0; i < n; i++) {
    const off = i > 0 ? a * form.offDiagonal[i - 1] : 0;
    const ratio = i > 0 ? off / pivot : 0;
    pivot = a * form.diagonal[i] + b - ratio * off;
    if (!(pivot > 0)) return Number.NEGATIVE_INFINITY;
    logDeterminant += Math.log(pivot);
    for (let c = 0; c < CROSS; c++) y[c] = form.columns[c * n + i] - ratio * y[c];
    for (let c = 0; c < CROSS; c++) {
      const scaled = y[c] / pivot;
      for (let d = 0; d <= c; d++) s[c * CROSS + d] += scaled * y[d];
    }
  }
  const normal = new Float64Array(POSE * POSE);
  const right = new Float64Array(POSE);
  for (let c = 0; c < POSE; c++) {
    for (let d = 0; d <= c; d++) normal[c * POSE + d] = s[c * CROSS + d];
    right[c] = s[POSE * CROSS + c];
  }
  // Directions that the overlap leaves free are held by a trace of the largest, and do not count.
  let largest = 0;
  for (let c = 0; c < POSE; c++) largest = Math.max(largest, normal[c * POSE + c]);
  for (let c = 0; c < POSE; c++) normal[c * POSE + c] += FREE_SHARE * largest;
  const factor = choleskyFactor(normal, POSE);
  if (factor === null) return Number.NEGATIVE_INFINITY;
  let logNormal = 0;
  for (let c = 0; c < POSE; c++) {
    const own = factor[c * POSE + c] ** 2;
    if (own > 1e3 * FREE_SHARE * largest) logNormal += Math.log(own);
  }
  const solved = choleskySolve(factor, POSE, right);
  let square = s[POSE * CROSS + POSE];
  for (let c = 0; c < POSE; c++) square -= right[c] * solved[c];
  return -(logDeterminant + logNormal + square) / 2;
}

const FREE_SHARE = 1e-9;
