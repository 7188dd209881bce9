import { symmetricEigen } from '../math/index.ts';
import { BLOCK, BLOCK_AREA, type BlockMatrix } from './block-matrix.ts';

/** A direction that nothing holds: one motion of several blocks, of unit length in the block that is eliminated last. */
export interface FreeDirection {
  /** Six numbers a block. */
  readonly motion: Float64Array;
}

/** Eigenvalues of a pivot below this share of the largest of its block before elimination are rounding, not information. */
const RANK_TOLERANCE = 1e-12;

/** What is below the diagonal of one column: rows by their place in the order, ascending, with their blocks. */
interface Column {
  readonly rows: number[];
  readonly blocks: Float64Array[];
}

/**
 * Cholesky factor (L D L^T in blocks) of a sparse symmetric block matrix, with its free directions.
 *
 * Method   blocks eliminated in the order of least degree; a pivot direction that elimination has used up is held in its
 *          place and reported as free. Selected inverse on the pattern of the factor by the recursion of Takahashi,
 *          Fagan & Chin 1973; other blocks by solving.
 * Cost     chains: linear; all n blocks tied with each other: n^3 / 6 block products.
 */
export class BlockCholesky {
  readonly blockCount: number;
  readonly freeDirections: readonly FreeDirection[];
  /** Block at each place of the order, and place of each block. */
  readonly #order: Int32Array;
  readonly #place: Int32Array;
  /** By place: N_ik D_k^-1 for the rows below. */
  readonly #columns: Column[];
  readonly #pivotInverse: Float64Array[] = [];
  #selected: Map<number, Float64Array> | null = null;
  readonly #solved = new Map<number, Float64Array>();

  constructor(matrix: BlockMatrix) {
    const n = matrix.blockCount;
    this.blockCount = n;
    const { order, place, rows } = orderOfLeastDegree(matrix);
    this.#order = order;
    this.#place = place;
    this.#columns = rows.map((r) => ({ rows: r, blocks: r.map(() => new Float64Array(BLOCK_AREA)) }));
    const pivots = Array.from(order, (k) => matrix.at(k, k).slice());
    const find = rows.map((r) => new Map(r.map((row, at) => [row, at])));
    matrix.rows.forEach((row, i) => {
      for (const [j, block] of row) {
        if (i === j) continue;
        const [pi, pj] = [place[i], place[j]];
        const [low, high] = pi < pj ? [pi, pj] : [pj, pi];
        const target = (this.#columns[low] as Column).blocks[
          (find[low] as Map<number, number>).get(high) as number
        ] as Float64Array;
        if (pi > pj) target.set(block);
        else target.set(transpose(block));
      }
    });
    const held: { place: number; direction: Float64Array }[] = [];
    for (let p = 0; p < n; p++) {
      const scale = largestEigenvalue(matrix.at(order[p], order[p]));
      const { inverse, free } = invertPivot(pivots[p] as Float64Array, scale);
      this.#pivotInverse.push(inverse);
      for (const direction of free) held.push({ place: p, direction });
      const column = this.#columns[p] as Column;
      const reduced = column.blocks.map((block) => multiply(block, inverse));
      column.rows.forEach((i, a) => {
        const factor = reduced[a] as Float64Array;
        subtractTransposedProduct(pivots[i] as Float64Array, factor, column.blocks[a] as Float64Array);
        for (let b = 0; b < a; b++) {
          const j = column.rows[b] as number;
          const at = (find[j] as Map<number, number>).get(i) as number;
          subtractTransposedProduct(
            (this.#columns[j] as Column).blocks[at] as Float64Array,
            factor,
            column.blocks[b] as Float64Array,
          );
        }
      });
      reduced.forEach((block, a) => {
        column.blocks[a] = block;
      });
    }
    this.freeDirections = held.map((h) => ({ motion: this.#freeMotion(h.place, h.direction) }));
  }

  /** The motion of all blocks that a free direction of one pivot brings about. */
  #freeMotion(place: number, direction: Float64Array): Float64Array {
    const motion = new Float64Array(BLOCK * this.blockCount);
    motion.set(direction, place * BLOCK);
    this.#substituteBack(motion, place - 1);
    return this.#inCallersOrder(motion);
  }

  /** x_k -= sum G_ik^T x_i, from the given place up. */
  #substituteBack(x: Float64Array, from: number): void {
    for (let p = from; p >= 0; p--) {
      const { rows, blocks } = this.#columns[p] as Column;
      rows.forEach((i, a) => {
        const g = blocks[a] as Float64Array;
        for (let c = 0; c < BLOCK; c++) {
          let sum = 0;
          for (let r = 0; r < BLOCK; r++) sum += g[r * BLOCK + c] * x[i * BLOCK + r];
          x[p * BLOCK + c] -= sum;
        }
      });
    }
  }

  #inCallersOrder(x: Float64Array): Float64Array {
    const out = new Float64Array(x.length);
    this.#order.forEach((block, p) => {
      out.set(x.subarray(p * BLOCK, (p + 1) * BLOCK), block * BLOCK);
    });
    return out;
  }

  /** Solves N x = b. */
  solve(b: Float64Array): Float64Array {
    const x = new Float64Array(b.length);
    this.#order.forEach((block, p) => {
      x.set(b.subarray(block * BLOCK, (block + 1) * BLOCK), p * BLOCK);
    });
    for (let p = 0; p < this.blockCount; p++) {
      const { rows, blocks } = this.#columns[p] as Column;
      rows.forEach((i, a) => {
        multiplyVector(x, i, blocks[a] as Float64Array, x, p, -1);
      });
    }
    const scaled = new Float64Array(x.length);
    for (let p = 0; p < this.blockCount; p++) multiplyVector(scaled, p, this.#pivotInverse[p] as Float64Array, x, p, 1);
    this.#substituteBack(scaled, this.blockCount - 1);
    return this.#inCallersOrder(scaled);
  }

  /** Block (i, j) of the inverse, row-major. */
  inverseBlock(i: number, j: number): Float64Array {
    this.#selected ??= this.#selectInverse();
    const n = this.blockCount;
    const [pi, pj] = [this.#place[i], this.#place[j]];
    const stored = this.#selected.get(pi >= pj ? pi * n + pj : pj * n + pi);
    if (stored) return pi >= pj ? stored : transpose(stored);
    const known = this.#solved.get(i * n + j);
    if (known) return known;
    const block = new Float64Array(BLOCK_AREA);
    const unit = new Float64Array(BLOCK * n);
    for (let c = 0; c < BLOCK; c++) {
      unit[j * BLOCK + c] = 1;
      const column = this.solve(unit);
      unit[j * BLOCK + c] = 0;
      for (let r = 0; r < BLOCK; r++) block[r * BLOCK + c] = column[i * BLOCK + r];
    }
    this.#solved.set(i * n + j, block);
    this.#solved.set(j * n + i, transpose(block));
    return block;
  }

  /** Blocks of the inverse by places, row >= column, on the pattern of the factor. */
  #selectInverse(): Map<number, Float64Array> {
    const n = this.blockCount;
    const inverse = new Map<number, Float64Array>();
    for (let p = n - 1; p >= 0; p--) {
      const { rows, blocks } = this.#columns[p] as Column;
      const diagonal = (this.#pivotInverse[p] as Float64Array).slice();
      const column = rows.map((i) => {
        const block = new Float64Array(BLOCK_AREA);
        rows.forEach((j, b) => {
          const g = blocks[b] as Float64Array;
          if (i >= j) subtractProduct(block, inverse.get(i * n + j) as Float64Array, g);
          else subtractProductOfTransposed(block, inverse.get(j * n + i) as Float64Array, g);
        });
        return block;
      });
      rows.forEach((i, a) => {
        const block = column[a] as Float64Array;
        subtractProductOfTransposed(diagonal, blocks[a] as Float64Array, block);
        inverse.set(i * n + p, block);
      });
      for (let r = 0; r < BLOCK; r++) {
        for (let c = 0; c < r; c++) {
          const mean = (diagonal[r * BLOCK + c] + diagonal[c * BLOCK + r]) / 2;
          diagonal[r * BLOCK + c] = mean;
          diagonal[c * BLOCK + r] = mean;
        }
      }
      inverse.set(p * n + p, diagonal);
    }
    return inverse;
  }
}

/** Elimination order, place of each block, and the rows (places) below the diagonal of each column of the factor. */
function orderOfLeastDegree(matrix: BlockMatrix): { order: Int32Array; place: Int32Array; rows: number[][] } {
  const n = matrix.blockCount;
  const neighbours: Set<number>[] = Array.from({ length: n }, () => new Set());
  matrix.rows.forEach((row, i) => {
    for (const j of row.keys()) {
      if (i === j) continue;
      (neighbours[i] as Set<number>).add(j);
      (neighbours[j] as Set<number>).add(i);
    }
  });
  const order = new Int32Array(n);
  const place = new Int32Array(n).fill(-1);
  const below: number[][] = [];
  for (let p = 0; p < n; p++) {
    let k = -1;
    for (let i = 0; i < n; i++) {
      if (place[i] < 0 && (k < 0 || (neighbours[i] as Set<number>).size < (neighbours[k] as Set<number>).size)) k = i;
    }
    place[k] = p;
    order[p] = k;
    const left = [...(neighbours[k] as Set<number>)];
    below.push(left);
    for (const i of left) {
      const own = neighbours[i] as Set<number>;
      own.delete(k);
      for (const j of left) if (j !== i) own.add(j);
    }
  }
  return { order, place, rows: below.map((row) => row.map((i) => place[i]).sort((a, b) => a - b)) };
}

/** Inverse of a pivot; directions without information are held and returned. */
function invertPivot(pivot: Float64Array, scale: number): { inverse: Float64Array; free: Float64Array[] } {
  const { values, vectors } = symmetricEigen(pivot, BLOCK);
  const inverse = new Float64Array(BLOCK_AREA);
  const free: Float64Array[] = [];
  for (let e = 0; e < BLOCK; e++) {
    let value = values[e];
    if (!(value > RANK_TOLERANCE * scale)) {
      free.push(Float64Array.from({ length: BLOCK }, (_, i) => vectors[i * BLOCK + e]));
      value = scale > 0 ? scale : 1;
    }
    for (let i = 0; i < BLOCK; i++) {
      const v = vectors[i * BLOCK + e] / value;
      for (let j = 0; j < BLOCK; j++) inverse[i * BLOCK + j] += v * vectors[j * BLOCK + e];
    }
  }
  return { inverse, free };
}

function largestEigenvalue(block: Float64Array): number {
  return symmetricEigen(block, BLOCK).values[BLOCK - 1] as number;
}

function transpose(block: Float64Array): Float64Array {
  const out = new Float64Array(BLOCK_AREA);
  for (let r = 0; r < BLOCK; r++) for (let c = 0; c < BLOCK; c++) out[c * BLOCK + r] = block[r * BLOCK + c];
  return out;
}

function multiply(a: Float64Array, b: Float64Array): Float64Array {
  const out = new Float64Array(BLOCK_AREA);
  for (let r = 0; r < BLOCK; r++) {
    for (let k = 0; k < BLOCK; k++) {
      const value = a[r * BLOCK + k];
      for (let c = 0; c < BLOCK; c++) out[r * BLOCK + c] += value * b[k * BLOCK + c];
    }
  }
  return out;
}

/** Block i of out += sign * a * (block j of x). */
function multiplyVector(out: Float64Array, i: number, a: Float64Array, x: Float64Array, j: number, sign: number): void {
  for (let r = 0; r < BLOCK; r++) {
    let sum = 0;
    for (let c = 0; c < BLOCK; c++) sum += a[r * BLOCK + c] * x[j * BLOCK + c];
    out[i * BLOCK + r] += sign * sum;
  }
}

/** out -= a b^T: the innermost loop of the factorisation, rows times rows. */
function subtractTransposedProduct(out: Float64Array, a: Float64Array, b: Float64Array): void {
  for (let r = 0; r < BLOCK_AREA; r += BLOCK) {
    const [a0, a1, a2, a3, a4, a5] = [a[r], a[r + 1], a[r + 2], a[r + 3], a[r + 4], a[r + 5]];
    for (let c = 0, k = 0; c < BLOCK; c++, k += BLOCK) {
      out[r + c] -= a0 * b[k] + a1 * b[k + 1] + a2 * b[k + 2] + a3 * b[k + 3] + a4 * b[k + 4] + a5 * b[k + 5];
    }
  }
}

/** out -= a b. */
function subtractProduct(out: Float64Array, a: Float64Array, b: Float64Array): void {
  for (let r = 0; r < BLOCK_AREA; r += BLOCK) {
    const [a0, a1, a2, a3, a4, a5] = [a[r], a[r + 1], a[r + 2], a[r + 3], a[r + 4], a[r + 5]];
    for (let c = 0; c < BLOCK; c++) {
      out[r + c] -= a0 * b[c] + a1 * b[c + 6] + a2 * b[c + 12] + a3 * b[c + 18] + a4 * b[c + 24] + a5 * b[c + 30];
    }
  }
}

/** out -= a^T b. */
function subtractProductOfTransposed(out: Float64Array, a: Float64Array, b: Float64Array): void {
  for (let r = 0; r < BLOCK; r++) {
    const [a0, a1, a2, a3, a4, a5] = [a[r], a[r + 6], a[r + 12], a[r + 18], a[r + 24], a[r + 30]];
    for (let c = 0; c < BLOCK; c++) {
      out[r * BLOCK + c] -=
        a0 * b[c] + a1 * b[c + 6] + a2 * b[c + 12] + a3 * b[c + 18] + a4 * b[c + 24] + a5 * b[c + 30];
    }
  }
}
