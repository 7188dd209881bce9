import { symmetricEigen } from '../math/index.ts';

/** Unknowns in one block: the six parameters of a pose. */
export const BLOCK = 6;
const AREA = BLOCK * BLOCK;

/** Symmetric matrix of 6 x 6 blocks, only those that are not zero: `at(i, j)` with i >= j, row-major inside. */
export class BlockMatrix {
  readonly blockCount: number;
  readonly rows: Map<number, Float64Array>[];

  constructor(blockCount: number) {
    this.blockCount = blockCount;
    this.rows = Array.from({ length: blockCount }, () => new Map());
    for (let i = 0; i < blockCount; i++) this.at(i, i);
  }

  /** The block in row i and column j, i >= j; made of zeros when it is new. */
  at(i: number, j: number): Float64Array {
    const row = this.rows[i] as Map<number, Float64Array>;
    let block = row.get(j);
    if (!block) {
      block = new Float64Array(AREA);
      row.set(j, block);
    }
    return block;
  }

  /** Adds scale * A^T W B into block (i, j), or its transpose into (j, i) when j > i. A: p x 6, W: p x p, B: p x 6. */
  addProduct(
    i: number,
    j: number,
    a: ArrayLike<number>,
    w: ArrayLike<number>,
    b: ArrayLike<number>,
    p: number,
    scale: number,
  ): void {
    if (j > i) {
      this.addProduct(j, i, b, w, a, p, scale);
      return;
    }
    const block = this.at(i, j);
    for (let c = 0; c < BLOCK; c++) {
      for (let r = 0; r < p; r++) {
        let sum = 0;
        for (let k = 0; k < p; k++) sum += (w[r * p + k] as number) * (b[k * BLOCK + c] as number);
        if (sum === 0) continue;
        sum *= scale;
        for (let q = 0; q < BLOCK; q++) block[q * BLOCK + c] += (a[r * BLOCK + q] as number) * sum;
      }
    }
  }
}

/** A direction that nothing holds: one motion of several blocks, of unit length in its own block. */
export interface FreeDirection {
  /** Six numbers a block. */
  readonly motion: Float64Array;
}

/** Eigenvalues of a pivot below this share of the largest of its block before elimination are rounding, not information. */
const RANK_TOLERANCE = 1e-12;

/**
 * Cholesky factor of a sparse symmetric block matrix, with its free directions.
 *
 * Method   blocks eliminated in the order of least degree; a pivot direction that elimination has used up is held in its
 *          place and reported as free. Selected inverse on the pattern of the factor by the recursion of Takahashi,
 *          Fagan & Chin 1973; other blocks by solving.
 * Cost     chains: linear; all blocks tied with each other: n^3 / 6 block products.
 */
export class BlockCholesky {
  readonly blockCount: number;
  readonly freeDirections: readonly FreeDirection[];
  readonly #order: number[] = [];
  readonly #place: Int32Array;
  /** Per eliminated block: later neighbours and G = N_ik D_k^-1. */
  readonly #below: { readonly index: number; readonly factor: Float64Array }[][];
  readonly #pivotInverse: Float64Array[];
  #selected: Map<number, Float64Array> | null = null;

  constructor(matrix: BlockMatrix) {
    const n = matrix.blockCount;
    this.blockCount = n;
    this.#place = new Int32Array(n).fill(-1);
    this.#below = Array.from({ length: n }, () => []);
    this.#pivotInverse = Array.from({ length: n }, () => new Float64Array(AREA));
    const work: Map<number, Float64Array>[] = Array.from({ length: n }, () => new Map());
    const scale = new Float64Array(n);
    matrix.rows.forEach((row, i) => {
      for (const [j, block] of row) {
        (work[i] as Map<number, Float64Array>).set(j, block.slice());
        if (i !== j) (work[j] as Map<number, Float64Array>).set(i, transpose(block));
        else scale[i] = largestEigenvalue(block);
      }
    });
    const held: { block: number; direction: Float64Array }[] = [];
    const left = new Set(Array.from({ length: n }, (_, i) => i));
    while (left.size > 0) {
      let k = -1;
      for (const i of left)
        if (k < 0 || (work[i] as Map<number, unknown>).size < (work[k] as Map<number, unknown>).size) k = i;
      left.delete(k);
      this.#place[k] = this.#order.length;
      this.#order.push(k);
      this.#eliminate(k, work, scale, held);
    }
    this.freeDirections = held.map(({ block, direction }) => ({ motion: this.#freeMotion(block, direction) }));
  }

  #eliminate(
    k: number,
    work: Map<number, Float64Array>[],
    scale: Float64Array,
    held: { block: number; direction: Float64Array }[],
  ): void {
    const row = work[k] as Map<number, Float64Array>;
    const { values, vectors } = symmetricEigen(row.get(k) as Float64Array, BLOCK);
    const inverse = this.#pivotInverse[k] as Float64Array;
    const limit = RANK_TOLERANCE * scale[k];
    for (let e = 0; e < BLOCK; e++) {
      let value = values[e];
      if (!(value > limit)) {
        held.push({ block: k, direction: Float64Array.from({ length: BLOCK }, (_, i) => vectors[i * BLOCK + e]) });
        value = scale[k] > 0 ? scale[k] : 1;
      }
      for (let i = 0; i < BLOCK; i++) {
        for (let j = 0; j < BLOCK; j++)
          inverse[i * BLOCK + j] += (vectors[i * BLOCK + e] * vectors[j * BLOCK + e]) / value;
      }
    }
    const neighbours = [...row.keys()].filter((i) => i !== k).sort((a, b) => a - b);
    const below = this.#below[k] as { index: number; factor: Float64Array }[];
    for (const i of neighbours) {
      const own = (work[i] as Map<number, Float64Array>).get(k) as Float64Array;
      below.push({ index: i, factor: multiply(own, inverse) });
      (work[i] as Map<number, Float64Array>).delete(k);
    }
    for (const { index: i, factor } of below) {
      for (const j of neighbours) {
        if (j > i) break;
        const other = row.get(j) as Float64Array; // N_kj = N_jk^T
        const target = blockOf(work, i, j);
        subtractProduct(target, factor, other);
        if (i !== j) setTransposed(work, j, i, target);
      }
    }
    row.clear();
  }

  /** The motion of all blocks that a free direction of one block brings about. */
  #freeMotion(block: number, direction: Float64Array): Float64Array {
    const motion = new Float64Array(BLOCK * this.blockCount);
    motion.set(direction, block * BLOCK);
    for (let p = (this.#place[block] as number) - 1; p >= 0; p--)
      this.#substituteBack(this.#order[p] as number, motion);
    return motion;
  }

  /** x_k -= sum G_ik^T x_i. */
  #substituteBack(k: number, x: Float64Array): void {
    for (const { index, factor } of this.#below[k] as { index: number; factor: Float64Array }[]) {
      for (let c = 0; c < BLOCK; c++) {
        let sum = 0;
        for (let r = 0; r < BLOCK; r++) sum += factor[r * BLOCK + c] * x[index * BLOCK + r];
        x[k * BLOCK + c] -= sum;
      }
    }
  }

  /** Solves N x = b. */
  solve(b: Float64Array): Float64Array {
    const x = b.slice();
    for (const k of this.#order) {
      for (const { index, factor } of this.#below[k] as { index: number; factor: Float64Array }[]) {
        for (let r = 0; r < BLOCK; r++) {
          let sum = 0;
          for (let c = 0; c < BLOCK; c++) sum += factor[r * BLOCK + c] * x[k * BLOCK + c];
          x[index * BLOCK + r] -= sum;
        }
      }
    }
    const scaled = new Float64Array(x.length);
    for (let k = 0; k < this.blockCount; k++) {
      const inverse = this.#pivotInverse[k] as Float64Array;
      for (let r = 0; r < BLOCK; r++) {
        let sum = 0;
        for (let c = 0; c < BLOCK; c++) sum += inverse[r * BLOCK + c] * x[k * BLOCK + c];
        scaled[k * BLOCK + r] = sum;
      }
    }
    for (let p = this.blockCount - 1; p >= 0; p--) this.#substituteBack(this.#order[p] as number, scaled);
    return scaled;
  }

  /** Block (i, j) of the inverse, row-major. */
  inverseBlock(i: number, j: number): Float64Array {
    const selected = this.#selected ?? this.#selectInverse();
    this.#selected = selected;
    const stored = selected.get(i * this.blockCount + j);
    if (stored) return stored;
    const block = new Float64Array(AREA);
    const mirrored = new Float64Array(AREA);
    const unit = new Float64Array(BLOCK * this.blockCount);
    for (let c = 0; c < BLOCK; c++) {
      unit[j * BLOCK + c] = 1;
      const column = this.solve(unit);
      unit[j * BLOCK + c] = 0;
      for (let r = 0; r < BLOCK; r++) {
        block[r * BLOCK + c] = column[i * BLOCK + r];
        mirrored[c * BLOCK + r] = column[i * BLOCK + r];
      }
    }
    selected.set(i * this.blockCount + j, block);
    selected.set(j * this.blockCount + i, mirrored);
    return block;
  }

  #selectInverse(): Map<number, Float64Array> {
    const n = this.blockCount;
    const inverse = new Map<number, Float64Array>();
    for (let p = n - 1; p >= 0; p--) {
      const k = this.#order[p] as number;
      const below = this.#below[k] as { index: number; factor: Float64Array }[];
      const diagonal = (this.#pivotInverse[k] as Float64Array).slice();
      const column: Float64Array[] = [];
      for (const { index: i } of below) {
        const block = new Float64Array(AREA);
        for (const { index: j, factor } of below)
          subtractProduct(block, inverse.get(i * n + j) as Float64Array, factor);
        column.push(block);
      }
      below.forEach(({ index: i, factor }, at) => {
        const block = column[at] as Float64Array;
        subtractProduct(diagonal, transpose(factor), block);
        inverse.set(i * n + k, block);
        inverse.set(k * n + i, transpose(block));
      });
      for (let r = 0; r < BLOCK; r++) {
        for (let c = 0; c < r; c++) {
          const mean = (diagonal[r * BLOCK + c] + diagonal[c * BLOCK + r]) / 2;
          diagonal[r * BLOCK + c] = mean;
          diagonal[c * BLOCK + r] = mean;
        }
      }
      inverse.set(k * n + k, diagonal);
    }
    return inverse;
  }
}

function blockOf(work: Map<number, Float64Array>[], i: number, j: number): Float64Array {
  const row = work[i] as Map<number, Float64Array>;
  let block = row.get(j);
  if (!block) {
    block = new Float64Array(AREA);
    row.set(j, block);
  }
  return block;
}

function setTransposed(work: Map<number, Float64Array>[], j: number, i: number, block: Float64Array): void {
  const other = blockOf(work, j, i);
  for (let r = 0; r < BLOCK; r++) for (let c = 0; c < BLOCK; c++) other[c * BLOCK + r] = block[r * BLOCK + c];
}

function largestEigenvalue(block: Float64Array): number {
  return symmetricEigen(block, BLOCK).values[BLOCK - 1] as number;
}

function transpose(block: Float64Array): Float64Array {
  const out = new Float64Array(AREA);
  for (let r = 0; r < BLOCK; r++) for (let c = 0; c < BLOCK; c++) out[c * BLOCK + r] = block[r * BLOCK + c];
  return out;
}

function multiply(a: Float64Array, b: Float64Array): Float64Array {
  const out = new Float64Array(AREA);
  for (let r = 0; r < BLOCK; r++) {
    for (let k = 0; k < BLOCK; k++) {
      const value = a[r * BLOCK + k];
      for (let c = 0; c < BLOCK; c++) out[r * BLOCK + c] += value * b[k * BLOCK + c];
    }
  }
  return out;
}

/** out -= a b. */
function subtractProduct(out: Float64Array, a: Float64Array, b: Float64Array): void {
  for (let r = 0; r < BLOCK; r++) {
    for (let k = 0; k < BLOCK; k++) {
      const value = a[r * BLOCK + k];
      for (let c = 0; c < BLOCK; c++) out[r * BLOCK + c] -= value * b[k * BLOCK + c];
    }
  }
}
