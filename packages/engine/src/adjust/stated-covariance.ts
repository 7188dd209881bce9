import type { OverlapCorrelation } from '../model/index.ts';
import type { BlockCovariance } from './block-covariance.ts';
import { BlockMatrix } from './block-matrix.ts';
import { excessOfForm } from './excess-of-form.ts';
import { type DatumMask, transformToInnerDatum } from './inner-datum.ts';
import type { LinearLink, LinearPart } from './linear-link.ts';
import type { NetworkModel } from './network-model.ts';
import { usedLinks } from './normal-equations.ts';
import { combineMotions, rigidMotions } from './rigid-motions.ts';
import type { SolvedNetwork } from './solve-network.ts';
import { gatherFollowed, timesMatrix3 } from './target-elimination.ts';

/**
 * Covariance of all unknowns and, after them, of the terms that are considered but not estimated: what is stated.
 */
export interface StatedCovariance {
  /** Blocks of the unknowns by their number, then one of size 1 for each term of the model that is not estimated. */
  readonly sizes: readonly number[];
  readonly offsets: Int32Array;
  /** n x n row-major. */
  readonly matrix: Float64Array;
  readonly block: BlockCovariance;
  /** Of the unknowns alone, with correlations, but without considered terms and before a change of datum. */
  readonly correlatedBlock: BlockCovariance;
  /** Block of each term of the model, estimated or considered. */
  readonly blockOfTerm: Int32Array;
  /**
   * Mean and variance of vPv when all that is stated is true: the redundancy and twice the redundancy for independent
   * observations and no considered terms.
   */
  readonly expectedSum: number;
  readonly varianceOfSum: number;
}

/**
 * Makes the stated covariance from the inverse normal matrix.
 *
 * Method   observations that hang together although they were weighed apart: N^-1 (N + sum B_o^T X_oo' B_o') N^-1, B the Jacobian
 *          of an overlap's motion and X the covariance of two gradients; terms that are not estimated as consider parameters
 *          (Bierman 1977, ch. VIII): S = -N^-1 A^T W A_s, Cov(x) += S sigma^2 S^T, Cov(x, s) = S sigma^2; inner constraints by
 *          S-transformation (Baarda 1973).
 * Cost     two products of n x n matrices when there are correlations, else the inverse itself.
 */
export function stateCovariance(
  model: NetworkModel,
  solved: SolvedNetwork,
  correlations: readonly OverlapCorrelation[],
  redundancy: number,
  mask: DatumMask | null,
): StatedCovariance {
  const { unknowns, factor } = solved;
  const count = unknowns.offsets[unknowns.sizes.length];
  const considered = model.terms.flatMap((t, i) => (t.isEstimated ? [] : [i]));
  const total = count + considered.length;
  const inverse = factor.inverse();
  const matrix = new Float64Array(total * total);
  for (let r = 0; r < count; r++) matrix.set(inverse.subarray(r * count, (r + 1) * count), r * total);
  let expectedSum = redundancy;
  let varianceOfSum = 2 * redundancy;

  const shared = sumCorrelations(model, solved, correlations);
  if (shared) {
    const taken = addCorrelated(matrix, inverse, shared.matrix, count, total);
    expectedSum += shared.excess - taken;
    // The traces of squares are those of the correlations themselves, less what the unknowns take up of them.
    const left = redundancy > 0 ? redundancy / Math.max(redundancy, shared.observationCount) : 0;
    varianceOfSum += 2 * (shared.squared * left - 2 * taken);
  }
  const correlated = shared ? matrix.slice() : null;
  if (considered.length > 0) {
    const { cross, gram } = considerTerms(model, solved, considered);
    considered.forEach((t, a) => {
      const variance = (model.terms[t]?.sigma as number) ** 2;
      const s = cross[a] as Float64Array;
      for (let r = 0; r < count; r++) {
        if (s[r] === 0) continue;
        const row = s[r] * variance;
        for (let c = 0; c < count; c++) matrix[r * total + c] += row * s[c];
        matrix[r * total + count + a] = row;
        matrix[(count + a) * total + r] = row;
      }
      matrix[(count + a) * (total + 1)] = variance;
    });
    for (let a = 0; a < considered.length; a++) {
      expectedSum += gram[a * considered.length + a];
      varianceOfSum += 4 * gram[a * considered.length + a];
      for (let b = 0; b < considered.length; b++) varianceOfSum += 2 * gram[a * considered.length + b] ** 2;
    }
  }
  if (mask && solved.heldMotions.length > 0) {
    const motions = rigidMotions(model, unknowns, solved.linear.state);
    transformToInnerDatum(matrix, total, combineMotions(motions, solved.heldMotions), mask);
  }
  const sizes = [...unknowns.sizes, ...considered.map(() => 1)];
  const offsets = Int32Array.from([...unknowns.offsets, ...considered.map((_, a) => count + a + 1)]);
  return {
    sizes,
    offsets,
    matrix,
    block: blockReader(matrix, total, sizes, offsets),
    correlatedBlock: correlated ? blockReader(correlated, total, sizes, offsets) : (i, j) => factor.inverseBlock(i, j),
    blockOfTerm: unknowns.blockOfTerm.map((b, t) => (b >= 0 ? b : unknowns.sizes.length + considered.indexOf(t))),
    expectedSum,
    varianceOfSum: Math.max(varianceOfSum, 0),
  };
}

/** Reads blocks of a dense matrix. */
export function blockReader(
  matrix: Float64Array,
  total: number,
  sizes: readonly number[],
  offsets: ArrayLike<number>,
): BlockCovariance {
  return (i, j) => {
    const [m, n] = [sizes[i] as number, sizes[j] as number];
    const out = new Float64Array(m * n);
    for (let r = 0; r < m; r++) {
      const from = ((offsets[i] as number) + r) * total + (offsets[j] as number);
      for (let c = 0; c < n; c++) out[r * n + c] = matrix[from + c];
    }
    return out;
  };
}

/** Covariance of the right side beyond N: sum of B_o^T X_oo' B_o' and its transpose, by blocks. */
function sumCorrelations(
  model: NetworkModel,
  solved: SolvedNetwork,
  correlations: readonly OverlapCorrelation[],
): { matrix: BlockMatrix; squared: number; excess: number; observationCount: number } | null {
  if (correlations.length === 0) return null;
  const linkOf = new Map<string, LinearLink[]>();
  let observationCount = 0;
  usedLinks(model, solved.unknowns).forEach((link, n) => {
    const linear = solved.linear.links[n] as LinearLink;
    observationCount += linear.rank;
    if (link.kind !== 'overlap') return;
    const own = linkOf.get(link.source.tie);
    if (own) own.push(linear);
    else linkOf.set(link.source.tie, [linear]);
  });
  const matrix = new BlockMatrix(solved.unknowns.sizes);
  let squared = 0;
  let excess = 0;
  for (const { tieA, tieB, gradientCovariance } of correlations) {
    if (gradientCovariance.length !== 36 || !gradientCovariance.every(Number.isFinite))
      throw new RangeError(`What ${tieA} and ${tieB} share is 36 numbers.`);
    for (const a of linkOf.get(tieA) ?? []) {
      for (const b of linkOf.get(tieB) ?? []) {
        if (a === b) {
          // Both orders are one and the same here, and the sum itself grows.
          addShared(matrix, a.parts, a.parts, gradientCovariance.map(half));
          const own = excessOfForm(a, gradientCovariance);
          excess += own.trace;
          squared += 2 * own.trace + own.square;
          continue;
        }
        addShared(matrix, a.parts, b.parts, gradientCovariance);
        squared += 2 * squareInWeights(a, b, gradientCovariance);
      }
    }
  }
  return { matrix, squared, excess, observationCount };
}

const half = (x: number): number => x / 2;

/** Adds B_a^T X B_b and its transpose; of the parts only the first six rows. */
function addShared(
  matrix: BlockMatrix,
  partsA: readonly LinearPart[],
  partsB: readonly LinearPart[],
  x: readonly number[],
): void {
  for (const p of partsA) {
    for (const q of partsB) {
      // J_p^T X J_q goes to (p, q) and its transpose to (q, p); a symmetric matrix keeps one of them, a diagonal block both.
      const product = new Float64Array(p.width * q.width);
      for (let i = 0; i < 6; i++) {
        for (let c = 0; c < q.width; c++) {
          let sum = 0;
          for (let k = 0; k < 6; k++) sum += (x[6 * i + k] as number) * q.jacobian[k * q.width + c];
          if (sum === 0) continue;
          for (let r = 0; r < p.width; r++) product[r * q.width + c] += p.jacobian[i * p.width + r] * sum;
        }
      }
      const isLower = p.block >= q.block;
      const block = isLower ? matrix.at(p.block, q.block) : matrix.at(q.block, p.block);
      for (let r = 0; r < p.width; r++) {
        for (let c = 0; c < q.width; c++) {
          const value = product[r * q.width + c];
          block[isLower ? r * q.width + c : c * p.width + r] += value;
          if (p.block === q.block) block[c * p.width + r] += value;
        }
      }
    }
  }
}

/** tr(W_a^-1 X W_b^-1 X^T): how strongly two gradients hang together, summed over their own directions. */
function squareInWeights(a: LinearLink, b: LinearLink, x: readonly number[]): number {
  // By the diagonals alone: enough for the spread of the sum, and it needs no inverse of what is singular.
  let sum = 0;
  for (let i = 0; i < 6; i++) {
    const wa = a.weight[i * (a.size + 1)];
    for (let j = 0; j < 6; j++) {
      const wb = b.weight[j * (b.size + 1)];
      if (wa > 0 && wb > 0) sum += (x[6 * i + j] as number) ** 2 / (wa * wb);
    }
  }
  return sum;
}

/** matrix += Z X Z; returns tr(Z X). */
function addCorrelated(matrix: Float64Array, z: Float64Array, x: BlockMatrix, n: number, total: number): number {
  const offsets = new Int32Array(x.sizes.length);
  for (let i = 1; i < offsets.length; i++) offsets[i] = offsets[i - 1] + (x.sizes[i - 1] as number);
  // Y = X Z, row by row.
  const y = new Float64Array(n * n);
  const addRow = (to: number, from: number, value: number): void => {
    if (value === 0) return;
    const target = y.subarray(to * n, (to + 1) * n);
    const source = z.subarray(from * n, (from + 1) * n);
    for (let c = 0; c < n; c++) target[c] += value * source[c];
  };
  x.rows.forEach((row, i) => {
    for (const [j, block] of row) {
      const [m, w] = [x.sizes[i] as number, x.sizes[j] as number];
      for (let r = 0; r < m; r++) {
        for (let c = 0; c < w; c++) {
          addRow(offsets[i] + r, offsets[j] + c, block[r * w + c]);
          if (i !== j) addRow(offsets[j] + c, offsets[i] + r, block[r * w + c]);
        }
      }
    }
  });
  let trace = 0;
  for (let r = 0; r < n; r++) trace += y[r * n + r];
  // Z Y is symmetric: the lower triangle is enough.
  const isEmpty = Uint8Array.from({ length: n }, (_, r) =>
    y.subarray(r * n, (r + 1) * n).some((v) => v !== 0) ? 0 : 1,
  );
  for (let r = 0; r < n; r++) {
    const out = new Float64Array(r + 1);
    for (let k = 0; k < n; k++) {
      const value = z[r * n + k];
      if (isEmpty[k] || value === 0) continue;
      const from = k * n;
      for (let c = 0; c <= r; c++) out[c] += value * y[from + c];
    }
    for (let c = 0; c <= r; c++) {
      matrix[r * total + c] += out[c];
      if (c < r) matrix[c * total + r] += out[c];
    }
  }
  return trace;
}

/** S of each considered term, and sigma_k sigma_l A_s^T W (I - A N^-1 A^T W) A_s: what they add to vPv on average. */
function considerTerms(
  model: NetworkModel,
  solved: SolvedNetwork,
  considered: readonly number[],
): { cross: Float64Array[]; gram: Float64Array } {
  const { unknowns, linear, factor } = solved;
  const count = unknowns.offsets[unknowns.sizes.length];
  const k = considered.length;
  const place = new Map(considered.map((t, a) => [t, a]));
  const right = considered.map(() => new Float64Array(count));
  const gram = new Float64Array(k * k);
  const addProducts = (
    parts: readonly LinearPart[],
    terms: readonly LinearPart[],
    weight: ArrayLike<number>,
    size: number,
    factorOfWeight: number,
  ): void => {
    for (const term of terms) {
      const a = place.get(term.block) as number;
      const weighted = new Float64Array(size);
      for (let i = 0; i < size; i++)
        for (let j = 0; j < size; j++)
          weighted[i] += factorOfWeight * (weight[i * size + j] as number) * term.jacobian[j];
      for (const p of parts) {
        for (let c = 0; c < p.width; c++)
          for (let i = 0; i < size; i++)
            (right[a] as Float64Array)[unknowns.offsets[p.block] + c] += p.jacobian[i * p.width + c] * weighted[i];
      }
      for (const other of terms) {
        const b = place.get(other.block) as number;
        for (let i = 0; i < size; i++) gram[a * k + b] += other.jacobian[i] * weighted[i];
      }
    }
  };
  linear.links.forEach((l, n) => {
    addProducts(l.parts, l.considered, l.weight, l.size, linear.linkWeights[n] as number);
  });
  for (const t of linear.targets) {
    if (t.sightings.length < 2) continue;
    for (const s of t.sightings) addProducts(s.parts, s.considered, s.weight, 3, 1);
    const terms = gatherFollowed(t, 'considered');
    if (terms.length === 0) continue;
    const followed = gatherFollowed(t, 'parts');
    for (const term of terms) {
      const a = place.get(term.block) as number;
      const v = timesMatrix3(term.u, t.cofactor, 1);
      for (const f of followed) {
        for (let r = 0; r < f.width; r++)
          for (let c = 0; c < 3; c++)
            (right[a] as Float64Array)[unknowns.offsets[f.block] + r] -= f.u[3 * r + c] * v[c];
      }
      for (const other of terms) {
        const b = place.get(other.block) as number;
        for (let c = 0; c < 3; c++) gram[a * k + b] -= other.u[c] * v[c];
      }
    }
  }
  const cross = right.map((b) => factor.solve(b).map((v) => -v));
  considered.forEach((s, a) => {
    considered.forEach((t, b) => {
      const sum = (right[a] as Float64Array).reduce(
        (total, v, i) => total + v * (cross[b] as Float64Array)[i],
        gram[a * k + b],
      );
      gram[a * k + b] = sum * (model.terms[s]?.sigma as number) * (model.terms[t]?.sigma as number);
    });
  });
  return { cross, gram };
}

/** Parts of a point or an observation over the stated blocks: those estimated and those considered. */
export function statedParts(
  l: { readonly parts: readonly LinearPart[]; readonly considered: readonly LinearPart[] },
  stated: StatedCovariance,
): LinearPart[] {
  return [...l.parts, ...l.considered.map((p) => ({ ...p, block: stated.blockOfTerm[p.block] }))];
}
