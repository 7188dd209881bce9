import { symmetricEigen } from '../math/index.ts';
import { type BlockMatrix, blockOffsets } from './block-matrix.ts';
import { multiplyBlocks, subtractTransposedProduct, transposeBlock } from './block-products.ts';

/** A direction that nothing holds: one motion of several blocks, of unit length in the block that is eliminated last. */
export interface FreeDirection {
  /** The numbers of all blocks, one after the other. */
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
 *          place and reported as free. The whole inverse by the recursion of Takahashi, Fagan & Chin 1973, row by row.
 * Cost     chains: linear, and quadratic for the inverse; all n unknowns tied with each other: n^3 / 3 and 2 n^3 / 3.
 */
export class BlockCholesky {
  readonly blockCount: number;
  readonly sizes: readonly number[];
  readonly offsets: Int32Array;
  readonly freeDirections: readonly FreeDirection[];
  /** Block at each place of the order. */
  readonly #order: Int32Array;
  /** By place: sizes, and where a block begins. */
  readonly #sizes: number[];
  readonly #offsets: Int32Array;
  /** By place: N_ik D_k^-1 for the rows below. */
  readonly #columns: Column[];
  readonly #pivotInverse: Float64Array[] = [];
  #inverse: Float64Array | null = null;

  constructor(matrix: BlockMatrix) {
    const n = matrix.blockCount;
    this.blockCount = n;
    this.sizes = matrix.sizes;
    this.offsets = blockOffsets(matrix.sizes);
    const { order, place, rows } = orderOfLeastDegree(matrix);
    this.#order = order;
    const sizes = Array.from(order, (k) => matrix.sizes[k] as number);
    this.#sizes = sizes;
    this.#offsets = blockOffsets(sizes);
    this.#columns = rows.map((r, p) => ({
      rows: r,
      blocks: r.map((i) => new Float64Array((sizes[i] as number) * (sizes[p] as number))),
    }));
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
        else target.set(transposeBlock(block, matrix.sizes[i] as number, matrix.sizes[j] as number));
      }
    });
    const held: { place: number; direction: Float64Array }[] = [];
    for (let p = 0; p < n; p++) {
      const own = sizes[p] as number;
      const scale = largestEigenvalue(matrix.at(order[p], order[p]), own);
      const { inverse, free } = invertPivot(pivots[p] as Float64Array, own, scale);
      this.#pivotInverse.push(inverse);
      for (const direction of free) held.push({ place: p, direction });
      const column = this.#columns[p] as Column;
      const reduced = column.blocks.map((block, a) =>
        multiplyBlocks(block, inverse, sizes[column.rows[a] as number] as number, own),
      );
      column.rows.forEach((i, a) => {
        const factor = reduced[a] as Float64Array;
        const m = sizes[i] as number;
        subtractTransposedProduct(pivots[i] as Float64Array, factor, column.blocks[a] as Float64Array, m, m, own);
        for (let b = 0; b < a; b++) {
          const j = column.rows[b] as number;
          const at = (find[j] as Map<number, number>).get(i) as number;
          subtractTransposedProduct(
            (this.#columns[j] as Column).blocks[at] as Float64Array,
            factor,
            column.blocks[b] as Float64Array,
            m,
            sizes[j] as number,
            own,
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
    const motion = new Float64Array(this.#offsets[this.blockCount]);
    motion.set(direction, this.#offsets[place]);
    this.#substituteBack(motion, place - 1);
    return this.#inCallersOrder(motion);
  }

  /** x_k -= sum G_ik^T x_i, from the given place up. */
  #substituteBack(x: Float64Array, from: number): void {
    for (let p = from; p >= 0; p--) {
      const { rows, blocks } = this.#columns[p] as Column;
      const own = this.#sizes[p] as number;
      const to = this.#offsets[p];
      rows.forEach((i, a) => {
        const g = blocks[a] as Float64Array;
        const m = this.#sizes[i] as number;
        const begin = this.#offsets[i];
        for (let c = 0; c < own; c++) {
          let sum = 0;
          for (let r = 0; r < m; r++) sum += g[r * own + c] * x[begin + r];
          x[to + c] -= sum;
        }
      });
    }
  }

  #inCallersOrder(x: Float64Array): Float64Array {
    const out = new Float64Array(x.length);
    this.#order.forEach((block, p) => {
      out.set(x.subarray(this.#offsets[p], this.#offsets[p + 1]), this.offsets[block]);
    });
    return out;
  }

  /** Solves N x = b. */
  solve(b: Float64Array): Float64Array {
    const x = new Float64Array(b.length);
    this.#order.forEach((block, p) => {
      x.set(b.subarray(this.offsets[block], this.offsets[block + 1]), this.#offsets[p]);
    });
    const scaled = new Float64Array(x.length);
    for (let p = 0; p < this.blockCount; p++) {
      const { rows, blocks } = this.#columns[p] as Column;
      const own = this.#sizes[p] as number;
      const from = this.#offsets[p];
      rows.forEach((i, a) => {
        const g = blocks[a] as Float64Array;
        const m = this.#sizes[i] as number;
        const to = this.#offsets[i];
        for (let r = 0; r < m; r++) {
          let sum = 0;
          for (let c = 0; c < own; c++) sum += g[r * own + c] * x[from + c];
          x[to + r] -= sum;
        }
      });
      const pivot = this.#pivotInverse[p] as Float64Array;
      for (let r = 0; r < own; r++) {
        for (let c = 0; c < own; c++) scaled[from + r] += pivot[r * own + c] * x[from + c];
      }
    }
    this.#substituteBack(scaled, this.blockCount - 1);
    return this.#inCallersOrder(scaled);
  }

  /** Block (i, j) of the inverse, row-major. */
  inverseBlock(i: number, j: number): Float64Array {
    const inverse = this.inverse();
    const total = this.offsets[this.blockCount];
    const [m, n] = [this.sizes[i] as number, this.sizes[j] as number];
    const out = new Float64Array(m * n);
    for (let r = 0; r < m; r++) {
      const from = (this.offsets[i] + r) * total + this.offsets[j];
      for (let c = 0; c < n; c++) out[r * n + c] = inverse[from + c];
    }
    return out;
  }

  /** The whole inverse, row-major; made once. */
  inverse(): Float64Array {
    this.#inverse ??= this.#invert();
    return this.#inverse;
  }

  #invert(): Float64Array {
    const total = this.#offsets[this.blockCount];
    // In the order of elimination; each row is found from the rows below it.
    const z = new Float64Array(total * total);
    for (let p = this.blockCount - 1; p >= 0; p--) {
      const { rows, blocks } = this.#columns[p] as Column;
      const own = this.#sizes[p] as number;
      const begin = this.#offsets[p];
      const end = begin + own;
      for (let r = 0; r < own; r++) {
        const row = z.subarray((begin + r) * total + end, (begin + r + 1) * total);
        rows.forEach((i, a) => {
          const g = blocks[a] as Float64Array;
          const m = this.#sizes[i] as number;
          for (let k = 0; k < m; k++) {
            const value = g[k * own + r];
            if (value === 0) continue;
            const from = (this.#offsets[i] + k) * total + end;
            const source = z.subarray(from, from + row.length);
            for (let c = 0; c < row.length; c++) row[c] -= value * source[c];
          }
        });
      }
      for (let r = 0; r < own; r++) {
        for (let c = end; c < total; c++) z[c * total + begin + r] = z[(begin + r) * total + c];
      }
      const pivot = this.#pivotInverse[p] as Float64Array;
      for (let r = 0; r < own; r++) {
        for (let c = 0; c <= r; c++) {
          let sum = 2 * pivot[r * own + c];
          rows.forEach((i, a) => {
            const g = blocks[a] as Float64Array;
            const m = this.#sizes[i] as number;
            const from = this.#offsets[i];
            for (let k = 0; k < m; k++) {
              sum -= g[k * own + r] * z[(begin + c) * total + from + k];
              sum -= g[k * own + c] * z[(begin + r) * total + from + k];
            }
          });
          z[(begin + r) * total + begin + c] = sum / 2;
          z[(begin + c) * total + begin + r] = sum / 2;
        }
      }
    }
    const to = new Int32Array(total);
    this.#order.forEach((block, p) => {
      for (let k = 0; k < (this.#sizes[p] as number); k++) to[this.#offsets[p] + k] = this.offsets[block] + k;
    });
    const out = new Float64Array(total * total);
    for (let r = 0; r < total; r++) for (let c = 0; c < total; c++) out[to[r] * total + to[c]] = z[r * total + c];
    return out;
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
function invertPivot(pivot: Float64Array, n: number, scale: number): { inverse: Float64Array; free: Float64Array[] } {
  const { values, vectors } = symmetricEigen(pivot, n);
  const inverse = new Float64Array(n * n);
  const free: Float64Array[] = [];
  for (let e = 0; e < n; e++) {
    let value = values[e];
    if (!(value > RANK_TOLERANCE * scale)) {
      free.push(Float64Array.from({ length: n }, (_, i) => vectors[i * n + e]));
      value = scale > 0 ? scale : 1;
    }
    for (let i = 0; i < n; i++) {
      const v = vectors[i * n + e] / value;
      for (let j = 0; j < n; j++) inverse[i * n + j] += v * vectors[j * n + e];
    }
  }
  return { inverse, free };
}

function largestEigenvalue(block: Float64Array, n: number): number {
  return symmetricEigen(block, n).values[n - 1] as number;
}
