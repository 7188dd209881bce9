import { invertSymmetric3, type Matrix3, symmetricEigen } from '../math/index.ts';
import { BlockCholesky } from './block-cholesky.ts';
import { BlockMatrix } from './block-matrix.ts';
import { addProjected } from './block-products.ts';
import type { LinearPart } from './linear-link.ts';
import type { ElementGroup, ObservedElement, ObservedElements } from './observed-elements.ts';

/** An element in units of its own standard deviation: weight = factor^T factor. */
interface WhiteElement {
  readonly rank: number;
  /** rank x size. */
  readonly factor: Float64Array;
  /** Misclosure, rank numbers. */
  readonly misclosure: Float64Array;
  readonly parts: readonly LinearPart[];
}

/** Directions of a weight below this share of the largest are rounding. */
const WEIGHT_TOLERANCE = 1e-11;

function whiten(e: ObservedElement): WhiteElement {
  const { values, vectors } = symmetricEigen(e.weight, e.size);
  const rows: Float64Array[] = [];
  const misclosure: number[] = [];
  for (let k = 0; k < e.size; k++) {
    if (!(values[k] > WEIGHT_TOLERANCE * values[e.size - 1])) continue;
    const root = Math.sqrt(values[k]);
    const row = Float64Array.from({ length: e.size }, (_, i) => vectors[i * e.size + k] * root);
    rows.push(row);
    let along = 0;
    for (let i = 0; i < e.size; i++) along += vectors[i * e.size + k] * e.slope[i];
    misclosure.push(along / root);
  }
  const rank = rows.length;
  const factor = new Float64Array(rank * e.size);
  rows.forEach((row, i) => {
    factor.set(row, i * e.size);
  });
  const parts = e.parts.map(({ block, width, jacobian }) => {
    const out = new Float64Array(rank * width);
    for (let i = 0; i < rank; i++)
      for (let k = 0; k < e.size; k++)
        for (let j = 0; j < width; j++) out[i * width + j] += factor[i * e.size + k] * jacobian[k * width + j];
    return { block, width, jacobian: out };
  });
  return { rank, factor, misclosure: Float64Array.from(misclosure), parts };
}

/** U = sum of K^T F over a target's sightings, width x 3, by block. */
type Followed = Map<number, Float64Array>;

/** A network with some elements' variances multiplied, solved. */
export interface RescaledNetwork {
  /** Residuals in stated standard deviations when the whitened misclosures are these; null: those observed. */
  residuals(misclosures: readonly Float64Array[] | null): Float64Array[];
  /** Redundancy number of each element. */
  redundancies(): Float64Array;
}

/**
 * The measurements of a solved network, ready to be solved again with other variances about the same solution.
 *
 * Exact where the network is linear; elsewhere as good as its linearisation, since new weights move it by parts of its sigmas.
 */
export class WhitenedNetwork {
  readonly ranks: readonly number[];
  readonly #observed: ObservedElements;
  readonly #elements: readonly WhiteElement[];

  constructor(observed: ObservedElements) {
    this.#observed = observed;
    this.#elements = observed.elements.map(whiten);
    this.ranks = this.#elements.map((e) => e.rank);
  }

  /**
   * Solves with each element's covariance multiplied by a factor.
   *
   * @param factors one an element
   */
  rescale(factors: readonly number[]): RescaledNetwork {
    const { groups, sizes, offsets, held } = this.#observed;
    const elements = this.#elements;
    const weightOf = (i: number): number => 1 / (factors[i] as number);
    const normal = new BlockMatrix(sizes);
    const heldRight = new Float64Array(offsets[sizes.length]);
    for (const h of held) {
      for (const p of h.parts) {
        for (const q of h.parts)
          if (q.block <= p.block) normal.addProduct(p.block, q.block, p.jacobian, h.weight, q.jacobian, h.size, 1);
        for (let k = 0; k < h.size; k++)
          for (let j = 0; j < p.width; j++) heldRight[offsets[p.block] + j] -= p.jacobian[k * p.width + j] * h.slope[k];
      }
    }
    elements.forEach((e, i) => {
      const one = identity(e.rank);
      for (const p of e.parts)
        for (const q of e.parts)
          if (q.block <= p.block) normal.addProduct(p.block, q.block, p.jacobian, one, q.jacobian, e.rank, weightOf(i));
    });
    const cofactors = groups.map((g) => (g.cofactor === null ? null : targetCofactor(g, elements, weightOf)));
    const followed = groups.map((g, n): Followed | null =>
      cofactors[n] ? followTarget(g, elements, weightOf, sizes) : null,
    );
    groups.forEach((_, n) => {
      const [c, f] = [cofactors[n], followed[n]];
      if (!c || !f) return;
      for (const [i, u] of f) {
        const v = times3(u, c, sizes[i] as number);
        for (const [j, o] of f) if (j <= i) normal.subtractOuter(i, j, v, o);
      }
    });
    const factor = new BlockCholesky(normal);

    const residuals = (misclosures: readonly Float64Array[] | null): Float64Array[] => {
      const y = elements.map((e, i) => (misclosures?.[i] ?? e.misclosure).slice());
      const right = misclosures === null ? heldRight.slice() : new Float64Array(heldRight.length);
      const settle = (): void => {
        groups.forEach((g, n) => {
          const c = cofactors[n];
          if (c) settleTarget(g, elements, y, weightOf, c);
        });
      };
      settle();
      elements.forEach((e, i) => {
        const own = y[i] as Float64Array;
        for (const p of e.parts)
          for (let k = 0; k < e.rank; k++)
            for (let j = 0; j < p.width; j++)
              right[offsets[p.block] + j] -= weightOf(i) * p.jacobian[k * p.width + j] * own[k];
      });
      const step = factor.solve(right);
      elements.forEach((e, i) => {
        const own = y[i] as Float64Array;
        for (const p of e.parts)
          for (let k = 0; k < e.rank; k++)
            for (let j = 0; j < p.width; j++) own[k] += p.jacobian[k * p.width + j] * step[offsets[p.block] + j];
      });
      settle();
      return y;
    };

    const redundancies = (): Float64Array => {
      const out = new Float64Array(elements.length);
      groups.forEach((g, n) => {
        const [c, f] = [cofactors[n], followed[n]];
        for (const i of g.members) {
          const e = elements[i] as WhiteElement;
          if (!c || !f) {
            const adjusted = new Float64Array(e.rank * e.rank);
            for (const p of e.parts)
              for (const q of e.parts)
                addProjected(
                  adjusted,
                  p.jacobian,
                  factor.inverseBlock(p.block, q.block),
                  q.jacobian,
                  e.rank,
                  p.width,
                  q.width,
                );
            out[i] = Math.max(0, e.rank - weightOf(i) * trace(adjusted, e.rank));
          } else out[i] = sightingRedundancy(e, weightOf(i), c, f, factor, sizes);
        }
      });
      return out;
    };
    return { residuals, redundancies };
  }
}

function identity(n: number): Float64Array {
  const out = new Float64Array(n * n);
  for (let i = 0; i < n; i++) out[i * n + i] = 1;
  return out;
}

function trace(m: Float64Array, n: number): number {
  let sum = 0;
  for (let i = 0; i < n; i++) sum += m[i * n + i];
  return sum;
}

function targetCofactor(
  group: ElementGroup,
  elements: readonly WhiteElement[],
  weightOf: (i: number) => number,
): Matrix3 {
  const sum = new Float64Array(9);
  for (const i of group.members) {
    const { factor } = elements[i] as WhiteElement;
    for (let a = 0; a < 3; a++)
      for (let b = 0; b < 3; b++)
        for (let k = 0; k < 3; k++) sum[3 * a + b] += weightOf(i) * factor[3 * k + a] * factor[3 * k + b];
  }
  const inverse = invertSymmetric3(Array.from(sum) as unknown as Matrix3);
  if (!inverse) throw new RangeError('The covariances of a target are not positive definite.');
  return inverse;
}

function followTarget(
  group: ElementGroup,
  elements: readonly WhiteElement[],
  weightOf: (i: number) => number,
  sizes: readonly number[],
): Followed {
  const followed: Followed = new Map();
  for (const i of group.members) {
    const e = elements[i] as WhiteElement;
    for (const p of e.parts) {
      const u = followed.get(p.block) ?? new Float64Array(3 * (sizes[p.block] as number));
      followed.set(p.block, u);
      for (let r = 0; r < p.width; r++)
        for (let c = 0; c < 3; c++)
          for (let k = 0; k < e.rank; k++)
            u[3 * r + c] += weightOf(i) * p.jacobian[k * p.width + r] * e.factor[3 * k + c];
    }
  }
  return followed;
}

function times3(u: Float64Array, m: Matrix3, rows: number): Float64Array {
  const out = new Float64Array(3 * rows);
  for (let r = 0; r < rows; r++)
    for (let c = 0; c < 3; c++) for (let k = 0; k < 3; k++) out[3 * r + c] += u[3 * r + k] * (m[3 * k + c] as number);
  return out;
}

/** Takes out of the misclosures what the best place of the target takes. */
function settleTarget(
  group: ElementGroup,
  elements: readonly WhiteElement[],
  y: readonly Float64Array[],
  weightOf: (i: number) => number,
  cofactor: Matrix3,
): void {
  const sum = [0, 0, 0];
  for (const i of group.members) {
    const { factor } = elements[i] as WhiteElement;
    for (let k = 0; k < 3; k++)
      for (let c = 0; c < 3; c++)
        sum[c] = (sum[c] as number) + weightOf(i) * factor[3 * k + c] * (y[i] as Float64Array)[k];
  }
  const shift = [0, 1, 2].map((a) =>
    [0, 1, 2].reduce((s, b) => s + (cofactor[3 * a + b] as number) * (sum[b] as number), 0),
  );
  for (const i of group.members) {
    const { factor } = elements[i] as WhiteElement;
    for (let k = 0; k < 3; k++)
      for (let c = 0; c < 3; c++) (y[i] as Float64Array)[k] -= factor[3 * k + c] * (shift[c] as number);
  }
}

/** 3 - tr(W C) - tr(W^-1 G^T Q G), G = J^T P of the sighting's column of the target's coupled weights. */
function sightingRedundancy(
  e: WhiteElement,
  weight: number,
  cofactor: Matrix3,
  followed: Followed,
  factor: BlockCholesky,
  sizes: readonly number[],
): number {
  // In whitened terms: F C F^T, and rows F C U^T against K.
  const fc = times3(e.factor, cofactor, 3);
  let taken = 0;
  for (let k = 0; k < 3; k++) for (let c = 0; c < 3; c++) taken += weight * fc[3 * k + c] * e.factor[3 * k + c];
  const rows: LinearPart[] = [...followed].map(([block, u]) => {
    const width = sizes[block] as number;
    const jacobian = new Float64Array(3 * width);
    for (let k = 0; k < 3; k++)
      for (let j = 0; j < width; j++)
        for (let c = 0; c < 3; c++) jacobian[k * width + j] -= fc[3 * k + c] * u[3 * j + c];
    for (const p of e.parts)
      if (p.block === block) for (let i = 0; i < jacobian.length; i++) jacobian[i] += p.jacobian[i];
    return { block, width, jacobian };
  });
  const adjusted = new Float64Array(9);
  for (const p of rows)
    for (const q of rows)
      addProjected(adjusted, p.jacobian, factor.inverseBlock(p.block, q.block), q.jacobian, 3, p.width, q.width);
  return Math.max(0, 3 - taken - weight * trace(adjusted, 3));
}
