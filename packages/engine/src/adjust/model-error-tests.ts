import { logChiSquareTail, symmetricEigen } from '../math/index.ts';
import type { BlockCovariance } from './block-covariance.ts';
import type { ModelError } from './model-errors.ts';
import { couplingWeight, type ElementGroup, type ObservedElement, type ObservedElements } from './observed-elements.ts';

/** What the residuals say about one model error. */
export interface ModelErrorTest {
  /** w^T Q_w^- w: chi-square with `degreesOfFreedom` when nothing is wrong. */
  readonly statistic: number;
  /** Independent numbers of the error that the rest of the network checks; 0: not checked at all. */
  readonly degreesOfFreedom: number;
  /** Numbers that the measurements themselves hold: more than `degreesOfFreedom` where part of the error stays unseen. */
  readonly rank: number;
  /** Natural logarithm of the probability of a value this large; 0 where not checked. */
  readonly logProbability: number;
  /** count x count: Q_w^-, the covariance of the error as it would be estimated. */
  readonly inverse: Float64Array;
}

/**
 * Of a direction's information, what the rest has to check at least. A rough tie checks a good one by the square of the ratio of
 * their sigmas, which can be a millionth and still find an error of metres; below this it is rounding.
 */
const LEAST_REDUNDANCY = 1e-9;

/** Where the elements' errors hang together beyond their weights, as blocks of gradient covariance. */
export interface GradientCovariance {
  readonly elementA: number;
  readonly elementB: number;
  /** size A x size B. */
  readonly covariance: Float64Array;
}

/** What the tests need besides the elements. */
export interface ResidualCovariance {
  /** Inverse of the normal matrix. */
  readonly cofactor: BlockCovariance;
  /** Covariance of the unknowns with the correlations; the same as `cofactor` where there are none. */
  readonly covariance: BlockCovariance;
  readonly correlations: readonly GradientCovariance[];
  /** Standard uncertainties of the terms that are considered, by their index. */
  readonly consideredSigmas: readonly number[];
}

/** Blocks of unknowns with matrices: block -> width x count. */
type Blocks = Map<number, Float64Array>;

interface Prepared {
  readonly error: ModelError;
  /** A^T P B. */
  readonly follow: Blocks;
  /** Sum over correlated elements of A^T C B; empty without correlations. */
  readonly shared: Blocks;
  /** Change of w with each considered term, count x terms, times the term's sigma. */
  readonly terms: Float64Array;
  readonly own: Float64Array;
  w: Float64Array;
  q: Float64Array;
}

/** out (rows x columns) += a^T b; a is inner x rows, b inner x columns. */
function addTransposed(
  out: Float64Array,
  a: Float64Array,
  b: Float64Array,
  inner: number,
  rows: number,
  columns: number,
): void {
  for (let k = 0; k < inner; k++) {
    for (let i = 0; i < rows; i++) {
      const value = a[k * rows + i];
      if (value === 0) continue;
      for (let j = 0; j < columns; j++) out[i * columns + j] += value * b[k * columns + j];
    }
  }
}

/** a b; a is rows x inner. */
function product(a: Float64Array, b: Float64Array, rows: number, inner: number, columns: number): Float64Array {
  const out = new Float64Array(rows * columns);
  addProduct(out, a, b, rows, inner, columns);
  return out;
}

/** out += a b; a is rows x inner. */
function addProduct(
  out: Float64Array,
  a: Float64Array,
  b: Float64Array,
  rows: number,
  inner: number,
  columns: number,
): void {
  for (let i = 0; i < rows; i++) {
    for (let k = 0; k < inner; k++) {
      const value = a[i * inner + k];
      if (value === 0) continue;
      for (let j = 0; j < columns; j++) out[i * columns + j] += value * b[k * columns + j];
    }
  }
}

function blockOf(blocks: Blocks, block: number, length: number): Float64Array {
  let own = blocks.get(block);
  if (!own) {
    own = new Float64Array(length);
    blocks.set(block, own);
  }
  return own;
}

/**
 * Tests of model errors by mean shift: each asks whether moving some measurements would lower the weighted sum of squares by more
 * than chance does. For a tie that is its own answer against the answer of the rest, d^T (Q_tie + Q_rest)^-1 d, without solving
 * the network again for each.
 *
 * Method   w = B^T P v, Q_w = B^T P Q_vv P B, T = w^T Q_w^- w [Baarda68, Teunissen00]; with errors that the weights do not know
 *          (shared scans, considered scale terms) in Q_w as they are. Rank from the eigenvalues of Q_w relative to B^T P B, which
 *          are redundancy numbers.
 */
export class ModelErrorTests {
  readonly errors: readonly ModelError[];
  readonly #observed: ObservedElements;
  readonly #noise: ResidualCovariance;
  readonly #prepared: Prepared[];
  readonly #correlationsOf: ReadonlyMap<number, readonly GradientCovariance[]>;
  /** Product of the cofactor with A^T P C of each considered term. */
  readonly #termShift: Blocks;

  constructor(observed: ObservedElements, errors: readonly ModelError[], noise: ResidualCovariance) {
    this.errors = errors;
    this.#observed = observed;
    this.#noise = noise;
    this.#correlationsOf = byElement(noise.correlations);
    this.#termShift = this.#shiftOfTerms();
    this.#prepared = errors.map((error) => this.#prepare(error));
  }

  #coupled(element: number): readonly number[] {
    const { group } = this.#observed.elements[element] as ObservedElement;
    return (this.#observed.groups[group] as ElementGroup).members;
  }

  /** A^T P C sigma of all considered terms together, then times the cofactor. */
  #shiftOfTerms(): Blocks {
    const { elements, sizes } = this.#observed;
    const terms = this.#noise.consideredSigmas.length;
    const slope: Blocks = new Map();
    const columns = elements.map((e) => this.#termColumns(e));
    elements.forEach((e, a) => {
      for (const b of this.#coupled(a)) {
        const column = columns[b] as Float64Array | null;
        if (!column) continue;
        const other = elements[b] as ObservedElement;
        const weighted = product(
          couplingWeight(this.#observed, a, b) as Float64Array,
          column,
          e.size,
          other.size,
          terms,
        );
        for (const p of e.parts)
          addTransposed(blockOf(slope, p.block, p.width * terms), p.jacobian, weighted, e.size, p.width, terms);
      }
    });
    const shift: Blocks = new Map();
    if (slope.size === 0) return shift;
    sizes.forEach((width, block) => {
      const own = new Float64Array(width * terms);
      for (const [other, s] of slope) {
        const n = sizes[other] as number;
        addProduct(own, this.#noise.cofactor(block, other), s, width, n, terms);
      }
      shift.set(block, own);
    });
    return shift;
  }

  /** Change of an element with each considered term, times its sigma: size x terms. */
  #termColumns(e: ObservedElement): Float64Array | null {
    const sigmas = this.#noise.consideredSigmas;
    if (e.considered.length === 0) return null;
    const out = new Float64Array(e.size * sigmas.length);
    for (const { block, jacobian } of e.considered)
      for (let i = 0; i < e.size; i++) out[i * sigmas.length + block] += jacobian[i] * (sigmas[block] as number);
    return out;
  }

  #prepare(error: ModelError): Prepared {
    const { elements, sizes } = this.#observed;
    const q = error.count;
    const terms = this.#noise.consideredSigmas.length;
    const follow: Blocks = new Map();
    const shared: Blocks = new Map();
    const termSlopes = new Float64Array(q * terms);
    const w = new Float64Array(q);
    for (const { element, basis } of error.shifts) {
      const e = elements[element] as ObservedElement;
      for (let i = 0; i < e.size; i++) for (let j = 0; j < q; j++) w[j] += basis[i * q + j] * e.slope[i];
      for (const b of this.#coupled(element)) {
        const other = elements[b] as ObservedElement;
        const weight = couplingWeight(this.#observed, b, element) as Float64Array;
        const weighted = product(weight, basis, other.size, e.size, q);
        for (const p of other.parts)
          addTransposed(blockOf(follow, p.block, p.width * q), p.jacobian, weighted, other.size, p.width, q);
        const column = this.#termColumns(other);
        if (column) addTransposed(termSlopes, weighted, column, other.size, q, terms);
      }
      for (const c of this.#correlationsOf.get(element) ?? []) {
        const isFirst = c.elementA === element;
        const other = elements[isFirst ? c.elementB : c.elementA] as ObservedElement;
        // Rows: the other element.
        const covariance = isFirst ? transposed(c.covariance, e.size, other.size) : c.covariance;
        const spread = product(covariance, basis, other.size, e.size, q);
        for (const p of other.parts)
          addTransposed(blockOf(shared, p.block, p.width * q), p.jacobian, spread, other.size, p.width, q);
      }
    }
    for (const [block, f] of follow) {
      const shift = this.#termShift.get(block);
      if (!shift) continue;
      const taken = new Float64Array(q * terms);
      addTransposed(taken, f, shift, sizes[block] as number, q, terms);
      for (let i = 0; i < taken.length; i++) termSlopes[i] -= taken[i];
    }
    const prepared: Prepared = {
      error,
      follow,
      shared,
      terms: termSlopes,
      own: this.#coupling(error, error),
      w,
      q: new Float64Array(0),
    };
    prepared.q = symmetrised(this.#cross(prepared, prepared), q);
    return prepared;
  }

  /** B_i^T P B_j. */
  #coupling(a: ModelError, b: ModelError): Float64Array {
    const out = new Float64Array(a.count * b.count);
    const ofB = new Map(b.shifts.map((s) => [s.element, s.basis]));
    for (const { element, basis } of a.shifts) {
      const e = this.#observed.elements[element] as ObservedElement;
      for (const other of this.#coupled(element)) {
        const basisB = ofB.get(other);
        if (!basisB) continue;
        const size = (this.#observed.elements[other] as ObservedElement).size;
        const weight = couplingWeight(this.#observed, element, other) as Float64Array;
        addTransposed(out, basis, product(weight, basisB, e.size, size, b.count), e.size, a.count, b.count);
      }
    }
    return out;
  }

  /** a^T C b over the blocks. */
  #through(a: Blocks, countA: number, covariance: BlockCovariance, b: Blocks, countB: number): Float64Array {
    const { sizes } = this.#observed;
    const out = new Float64Array(countA * countB);
    for (const [i, f] of a) {
      const rows = sizes[i] as number;
      const half = new Float64Array(rows * countB);
      for (const [j, g] of b) addProduct(half, covariance(i, j), g, rows, sizes[j] as number, countB);
      addTransposed(out, f, half, rows, countA, countB);
    }
    return out;
  }

  /** Covariance of the w of two errors. */
  #cross(a: Prepared, b: Prepared): Float64Array {
    const [p, q] = [a.error.count, b.error.count];
    const { cofactor, covariance, correlations, consideredSigmas } = this.#noise;
    const out = a === b ? a.own.slice() : this.#coupling(a.error, b.error);
    const subtract = (m: Float64Array, sign = -1): void => {
      for (let i = 0; i < out.length; i++) out[i] += sign * m[i];
    };
    subtract(this.#through(a.follow, p, cofactor, b.follow, q));
    if (correlations.length > 0) {
      // Errors that elements share: B^T C B - B^T C A Q G - (its mirror) + G^T Q A^T C A Q G.
      subtract(this.#correlated(a.error, b.error), 1);
      subtract(this.#through(a.shared, p, cofactor, b.follow, q));
      subtract(this.#through(a.follow, p, cofactor, b.shared, q));
      subtract(
        this.#through(a.follow, p, (i, j) => difference(covariance(i, j), cofactor(i, j)), b.follow, q),
        1,
      );
    }
    const terms = consideredSigmas.length;
    for (let t = 0; t < terms; t++)
      for (let i = 0; i < p; i++)
        for (let j = 0; j < q; j++) out[i * q + j] += a.terms[i * terms + t] * b.terms[j * terms + t];
    return out;
  }

  /** B_i^T C B_j over correlated elements. */
  #correlated(a: ModelError, b: ModelError): Float64Array {
    const out = new Float64Array(a.count * b.count);
    const { elements } = this.#observed;
    const ofA = new Map(a.shifts.map((s) => [s.element, s.basis]));
    const ofB = new Map(b.shifts.map((s) => [s.element, s.basis]));
    const enter = (first: number, second: number, covariance: Float64Array): void => {
      const [x, y] = [ofA.get(first), ofB.get(second)];
      if (!x || !y) return;
      const [m, n] = [(elements[first] as ObservedElement).size, (elements[second] as ObservedElement).size];
      addTransposed(out, x, product(covariance, y, m, n, b.count), m, a.count, b.count);
    };
    for (const c of new Set(a.shifts.flatMap((s) => this.#correlationsOf.get(s.element) ?? []))) {
      enter(c.elementA, c.elementB, c.covariance);
      const [m, n] = [(elements[c.elementA] as ObservedElement).size, (elements[c.elementB] as ObservedElement).size];
      enter(c.elementB, c.elementA, transposed(c.covariance, m, n));
    }
    return out;
  }

  /** Tests of all errors, each against the rest of the network as a whole. */
  tests(): ModelErrorTest[] {
    return this.#prepared.map((p) => testOf(p.w, p.q, p.own, p.error.count));
  }

  /** The same when one of the errors is taken as real and estimated: what it explains is no sign of another. */
  testsGiven(index: number): ModelErrorTest[] {
    const c = this.#prepared[index] as Prepared;
    const r = c.error.count;
    const { inverse } = testOf(c.w, c.q, c.own, r);
    const estimate = product(inverse, c.w, r, r, 1);
    return this.#prepared.map((p, i) => {
      const n = p.error.count;
      if (i === index) return NOT_CHECKED(n);
      const cross = this.#cross(p, c);
      const explained = product(cross, estimate, n, r, 1);
      const taken = product(product(cross, inverse, n, r, r), transposed(cross, n, r), n, r, n);
      return testOf(
        p.w.map((v, k) => v - explained[k]),
        symmetrised(
          p.q.map((v, k) => v - taken[k]),
          n,
        ),
        p.own,
        n,
      );
    });
  }

  /** How unknowns follow an error: Q A^T P B, width x count of one block. */
  influence(index: number, block: number): Float64Array {
    const { follow, error } = this.#prepared[index] as Prepared;
    const { sizes } = this.#observed;
    const width = sizes[block] as number;
    const out = new Float64Array(width * error.count);
    for (const [other, f] of follow) {
      const n = sizes[other] as number;
      addProduct(out, this.#noise.cofactor(block, other), f, width, n, error.count);
    }
    return out;
  }

  /** The error as its test estimates it. */
  estimate(index: number): Float64Array {
    const p = this.#prepared[index] as Prepared;
    const n = p.error.count;
    return product(testOf(p.w, p.q, p.own, n).inverse, p.w, n, n, 1);
  }
}

function byElement(correlations: readonly GradientCovariance[]): Map<number, GradientCovariance[]> {
  const map = new Map<number, GradientCovariance[]>();
  for (const c of correlations) {
    for (const element of [c.elementA, c.elementB]) {
      const list = map.get(element) ?? [];
      map.set(element, list);
      list.push(c);
    }
  }
  return map;
}

const NOT_CHECKED = (n: number): ModelErrorTest => ({
  statistic: 0,
  degreesOfFreedom: 0,
  rank: 0,
  logProbability: 0,
  inverse: new Float64Array(n * n),
});

function transposed(m: Float64Array, rows: number, columns: number): Float64Array {
  return Float64Array.from({ length: m.length }, (_, e) => m[(e % rows) * columns + Math.floor(e / rows)]);
}

function difference(a: Float64Array, b: Float64Array): Float64Array {
  return a.map((v, i) => v - b[i]);
}

function symmetrised(m: Float64Array, n: number): Float64Array {
  return m.map((v, e) => (v + m[(e % n) * n + Math.floor(e / n)]) / 2);
}

/** Directions of B^T P B below this share of the largest are rounding: the measurements do not hold them. */
const HOLD_TOLERANCE = 1e-11;

function testOf(w: Float64Array, q: Float64Array, own: Float64Array, n: number): ModelErrorTest {
  const held = symmetricEigen(own, n);
  const largest = held.values[n - 1];
  if (!(largest > 0)) return NOT_CHECKED(n);
  // Columns that make B^T P B the identity on what it holds: eigenvalues of Q_w are then redundancy numbers.
  const columns: Float64Array[] = [];
  for (let e = 0; e < n; e++) {
    if (!(held.values[e] > HOLD_TOLERANCE * largest)) continue;
    const factor = 1 / Math.sqrt(held.values[e]);
    columns.push(Float64Array.from({ length: n }, (_, i) => held.vectors[i * n + e] * factor));
  }
  const rank = columns.length;
  const white = new Float64Array(rank * rank);
  columns.forEach((a, i) => {
    const qa = product(q, a, n, n, 1);
    columns.forEach((b, j) => {
      let sum = 0;
      for (let k = 0; k < n; k++) sum += b[k] * qa[k];
      white[i * rank + j] = sum;
    });
  });
  const checked = symmetricEigen(white, rank);
  const inverse = new Float64Array(n * n);
  let statistic = 0;
  let degreesOfFreedom = 0;
  for (let e = 0; e < rank; e++) {
    const redundancy = checked.values[e];
    if (!(redundancy > LEAST_REDUNDANCY)) continue;
    degreesOfFreedom++;
    const direction = new Float64Array(n);
    columns.forEach((c, i) => {
      const factor = checked.vectors[i * rank + e];
      for (let k = 0; k < n; k++) direction[k] += factor * c[k];
    });
    let along = 0;
    for (let k = 0; k < n; k++) along += direction[k] * w[k];
    statistic += (along * along) / redundancy;
    for (let i = 0; i < n; i++)
      for (let j = 0; j < n; j++) inverse[i * n + j] += (direction[i] * direction[j]) / redundancy;
  }
  return {
    statistic,
    degreesOfFreedom,
    rank,
    logProbability: degreesOfFreedom > 0 ? logChiSquareTail(statistic, degreesOfFreedom) : 0,
    inverse,
  };
}
