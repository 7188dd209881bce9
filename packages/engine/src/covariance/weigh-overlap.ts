import { choleskyFactor, choleskyInverse, choleskySolve, symmetricEigen } from '../math/index.ts';
import type { OverlapPatches, WeighedOverlap } from '../model/index.ts';
import { patchCovariance } from './patch-covariance.ts';
import type { OverlapErrors, PatchedOverlap } from './patched-overlap.ts';

/** Numbers of a weighed form: six of the motion and the stretch. */
export const FORM = 7;
const POSE = 6;

/** Motions held by less than this share of the best held one are free: noise in the normals holds them. */
const FREE_SHARE = 1e-9;

/** An overlap weighed. */
export interface WeighedPatches {
  readonly form: WeighedOverlap;
  /** Seven numbers a patch: how much each patch's mean moves the gradient. */
  readonly pull: Float64Array;
}

/** How much the diagonal of the covariance is enlarged for the weights: what is rough counts for less than it says. */
const BLUNTNESS = 0.3;

/**
 * Weighs an overlap by the inverse of the covariance of its patch means.
 *
 * Method   generalised least squares (Aitken 1936) with a somewhat larger independent part, and the covariance that this answer
 *          then has, N^-1 (Y^T C Y) N^-1 with Y = W J (law of propagation). The form is that of an observation of the six
 *          numbers of the answer; a stretch only acts through them.
 */
export function weighOverlap(overlap: PatchedOverlap, errors: OverlapErrors): WeighedPatches {
  const { patches } = overlap;
  const rows = formRows(overlap);
  const covariance = patchCovariance(patches, errors);
  const weighted = weightedRows(rows, covariance, patches.count, overlap.tie);
  const sums = sumsOf(overlap, rows, weighted);
  const inverse = inverseOnHeld(spreadOf(weighted, covariance, patches.count), sums.cross);
  // Each patch's pull on the gradient: Y M^-1 B^T.
  const turned = new Float64Array(POSE * FORM);
  for (let c = 0; c < POSE; c++)
    for (let d = 0; d < FORM; d++)
      for (let k = 0; k < POSE; k++) turned[FORM * c + d] += inverse[POSE * c + k] * sums.cross[POSE * d + k];
  return { form: formOf(sums, turned, patches), pull: pullOf(weighted, turned, patches.count) };
}

/**
 * Weighs an overlap with every match alike, however the errors hang together.
 *
 * @param variance of one match as the weight states it, mm^2: the same for all overlaps of alike scans, so that matches of
 *        different overlaps count alike too
 * @returns besides, by how much the covariance of the gradient is more than the information, 6 x 6
 */
export function weighEvenly(
  overlap: PatchedOverlap,
  errors: OverlapErrors,
  variance: number,
): { readonly weighed: WeighedPatches; readonly excess: Float64Array } {
  const { patches } = overlap;
  const rows = formRows(overlap);
  const weighted = evenRows(rows, patches, variance);
  const sums = sumsOf(overlap, rows, weighted);
  const pull = rows.map((value, e) => (patches.weights[Math.floor(e / FORM)] * value) / variance);
  const information = new Array<number>(FORM * FORM).fill(0);
  const gradient = new Array<number>(FORM).fill(0);
  let sumSquares = 0;
  for (let i = 0; i < patches.count; i++) {
    sumSquares += (patches.weights[i] * patches.residuals[i] ** 2) / variance;
    for (let d = 0; d < FORM; d++) {
      gradient[d] += pull[FORM * i + d] * patches.residuals[i];
      for (let e = 0; e < FORM; e++) information[FORM * d + e] += pull[FORM * i + d] * rows[FORM * i + e];
    }
  }
  const excess = spreadOf(weighted, patchCovariance(patches, errors), patches.count);
  for (let c = 0; c < POSE; c++) for (let d = 0; d < POSE; d++) excess[POSE * c + d] -= sums.cross[POSE * c + d];
  return { weighed: { form: { information, gradient, sumSquares, patchCount: patches.count }, pull }, excess };
}

/** Mean variance of an answer with every match alike, in units of what independent matches of variance one would give. */
export function evenVariance(overlap: PatchedOverlap, errors: OverlapErrors): number {
  const { patches } = overlap;
  const rows = formRows(overlap);
  const weighted = evenRows(rows, patches, 1);
  const spread = spreadOf(weighted, patchCovariance(patches, errors), patches.count);
  // tr(N^-1 M) over the motions that N holds.
  const basis = heldMotions(sumsOf(overlap, rows, weighted).cross);
  let trace = 0;
  for (const p of basis)
    for (let c = 0; c < POSE; c++) for (let d = 0; d < POSE; d++) trace += p[c] * spread[POSE * c + d] * p[d];
  return basis.length > 0 ? trace / basis.length : 0;
}

interface Sums {
  /** J7^T Y, 7 x 6. */
  readonly cross: Float64Array;
  /** Y^T r. */
  readonly slope: Float64Array;
}

function sumsOf({ patches }: PatchedOverlap, rows: Float64Array, weighted: Float64Array): Sums {
  const cross = new Float64Array(FORM * POSE);
  const slope = new Float64Array(POSE);
  for (let i = 0; i < patches.count; i++) {
    for (let c = 0; c < POSE; c++) {
      const value = weighted[POSE * i + c];
      slope[c] += value * patches.residuals[i];
      for (let d = 0; d < FORM; d++) cross[POSE * d + c] += rows[FORM * i + d] * value;
    }
  }
  return { cross, slope };
}

function formOf({ cross, slope }: Sums, turned: Float64Array, patches: OverlapPatches): WeighedOverlap {
  const information = new Array<number>(FORM * FORM).fill(0);
  const gradient = new Array<number>(FORM).fill(0);
  for (let c = 0; c < POSE; c++) {
    for (let d = 0; d < FORM; d++) {
      gradient[d] += slope[c] * turned[FORM * c + d];
      for (let e = 0; e < FORM; e++) information[FORM * e + d] += cross[POSE * e + c] * turned[FORM * c + d];
    }
  }
  return { information, gradient, sumSquares: leastSquares(slope, cross, turned), patchCount: patches.count };
}

/** Squared length of the answer in its own covariance: r^T Q r. */
function leastSquares(slope: Float64Array, cross: Float64Array, turned: Float64Array): number {
  const answer = solveHeld(cross, slope);
  let sum = 0;
  for (let c = 0; c < POSE; c++) {
    let along = 0;
    for (let d = 0; d < POSE; d++) along += turned[FORM * c + d] * answer[d];
    sum += slope[c] * along;
  }
  return Math.max(0, sum);
}

/** N^-1 g in the motions that N holds. */
function solveHeld(cross: Float64Array, slope: Float64Array): Float64Array {
  const out = new Float64Array(POSE);
  for (const p of heldMotions(cross)) {
    let along = 0;
    for (let c = 0; c < POSE; c++) along += p[c] * slope[c];
    for (let c = 0; c < POSE; c++) out[c] += along * p[c];
  }
  return out;
}

function pullOf(weighted: Float64Array, turned: Float64Array, n: number): Float64Array {
  const pull = new Float64Array(FORM * n);
  for (let i = 0; i < n; i++)
    for (let d = 0; d < FORM; d++)
      for (let c = 0; c < POSE; c++) pull[FORM * i + d] += weighted[POSE * i + c] * turned[FORM * c + d];
  return pull;
}

/** Y^T C Y. */
function spreadOf(weighted: Float64Array, covariance: Float64Array, n: number): Float64Array {
  const spread = new Float64Array(POSE * POSE);
  const along = new Float64Array(POSE);
  for (let i = 0; i < n; i++) {
    along.fill(0);
    for (let j = 0; j < n; j++) {
      const value = covariance[i * n + j];
      for (let c = 0; c < POSE; c++) along[c] += value * weighted[POSE * j + c];
    }
    for (let c = 0; c < POSE; c++)
      for (let d = 0; d < POSE; d++) spread[POSE * c + d] += weighted[POSE * i + c] * along[d];
  }
  return spread;
}

function evenRows(rows: Float64Array, patches: OverlapPatches, variance: number): Float64Array {
  const out = new Float64Array(POSE * patches.count);
  for (let i = 0; i < patches.count; i++)
    for (let c = 0; c < POSE; c++) out[POSE * i + c] = (patches.weights[i] * rows[FORM * i + c]) / variance;
  return out;
}

/** W J with W the inverse of the covariance with a larger independent part. */
function weightedRows(rows: Float64Array, covariance: Float64Array, n: number, tie: string): Float64Array {
  const blunt = covariance.slice();
  for (let i = 0; i < n; i++) blunt[i * n + i] *= 1 + BLUNTNESS;
  const factor = factorOfCovariance(blunt, n, tie);
  const out = new Float64Array(POSE * n);
  const column = new Float64Array(n);
  for (let c = 0; c < POSE; c++) {
    for (let i = 0; i < n; i++) column[i] = rows[FORM * i + c];
    const solved = choleskySolve(factor, n, column);
    for (let i = 0; i < n; i++) out[POSE * i + c] = solved[i];
  }
  return out;
}

/** Motions that N (the first six rows of B) holds, each scaled so that N of it is one: sum of p p^T is N^-1 on them. */
function heldMotions(cross: Float64Array): Float64Array[] {
  const unit = Float64Array.from({ length: POSE }, (_, c) => 1 / Math.sqrt(cross[7 * c] > 0 ? cross[7 * c] : 1));
  const scaled = Array.from({ length: POSE * POSE }, (_, k) => cross[k] * unit[Math.floor(k / POSE)] * unit[k % POSE]);
  const { values, vectors } = symmetricEigen(scaled, POSE);
  return [0, 1, 2, 3, 4, 5]
    .filter((e) => values[e] > FREE_SHARE * values[POSE - 1])
    .map((e) =>
      Float64Array.from({ length: POSE }, (_, c) => (unit[c] * vectors[POSE * c + e]) / Math.sqrt(values[e])),
    );
}

/** Inverse of M in the motions that the normal matrix holds; zero in the others. */
function inverseOnHeld(spread: Float64Array, cross: Float64Array): Float64Array {
  const basis = heldMotions(cross);
  const r = basis.length;
  const inner = new Float64Array(r * r);
  for (let a = 0; a < r; a++)
    for (let b = 0; b < r; b++)
      for (let c = 0; c < POSE; c++)
        for (let d = 0; d < POSE; d++) inner[a * r + b] += basis[a][c] * spread[POSE * c + d] * basis[b][d];
  const factor = choleskyFactor(inner, r);
  if (factor === null) throw new RangeError('An overlap has no covariance: a number is not finite.');
  const own = choleskyInverse(factor, r);
  const inverse = new Float64Array(POSE * POSE);
  for (let a = 0; a < r; a++)
    for (let b = 0; b < r; b++)
      for (let c = 0; c < POSE; c++)
        for (let d = 0; d < POSE; d++) inverse[POSE * c + d] += basis[a][c] * own[a * r + b] * basis[b][d];
  return inverse;
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
