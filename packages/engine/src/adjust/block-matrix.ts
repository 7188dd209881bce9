/** Symmetric matrix of blocks, only those that are not zero: `at(i, j)` with i >= j, row-major inside. */
export class BlockMatrix {
  /** Unknowns of each block: 6 for a frame, 3 for a point, 1 for a scale. */
  readonly sizes: readonly number[];
  readonly blockCount: number;
  readonly rows: Map<number, Float64Array>[];

  constructor(sizes: readonly number[]) {
    this.sizes = sizes;
    this.blockCount = sizes.length;
    this.rows = sizes.map(() => new Map());
    for (let i = 0; i < sizes.length; i++) this.at(i, i);
  }

  /** The block in row i and column j, i >= j; made of zeros when it is new. */
  at(i: number, j: number): Float64Array {
    const row = this.rows[i] as Map<number, Float64Array>;
    let block = row.get(j);
    if (!block) {
      block = new Float64Array((this.sizes[i] as number) * (this.sizes[j] as number));
      row.set(j, block);
    }
    return block;
  }

  /** Adds scale * A^T W B into block (i, j), or its transpose into (j, i) when j > i. A: p x size i, W: p x p, B: p x size j. */
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
    const m = this.sizes[i] as number;
    const n = this.sizes[j] as number;
    for (let c = 0; c < n; c++) {
      for (let r = 0; r < p; r++) {
        let sum = 0;
        for (let k = 0; k < p; k++) sum += (w[r * p + k] as number) * (b[k * n + c] as number);
        if (sum === 0) continue;
        sum *= scale;
        for (let q = 0; q < m; q++) block[q * n + c] += (a[r * m + q] as number) * sum;
      }
    }
  }

  /** Subtracts V U^T from block (i, j), i >= j. V: size i x 3, U: size j x 3, row-major. */
  subtractOuter(i: number, j: number, v: Float64Array, u: Float64Array): void {
    const block = this.at(i, j);
    const m = this.sizes[i] as number;
    const n = this.sizes[j] as number;
    for (let r = 0; r < m; r++) {
      const [v0, v1, v2] = [v[3 * r], v[3 * r + 1], v[3 * r + 2]];
      for (let c = 0; c < n; c++) block[r * n + c] -= v0 * u[3 * c] + v1 * u[3 * c + 1] + v2 * u[3 * c + 2];
    }
  }

  /** A copy that can be changed. */
  copy(): BlockMatrix {
    const out = new BlockMatrix(this.sizes);
    this.rows.forEach((row, i) => {
      for (const [j, block] of row) out.at(i, j).set(block);
    });
    return out;
  }

  /** N x for a vector over all blocks; `offsets` are where blocks begin. */
  multiply(x: Float64Array, offsets: ArrayLike<number>): Float64Array {
    const out = new Float64Array(x.length);
    this.rows.forEach((row, i) => {
      const m = this.sizes[i] as number;
      for (const [j, block] of row) {
        const n = this.sizes[j] as number;
        const [pi, pj] = [offsets[i] as number, offsets[j] as number];
        for (let r = 0; r < m; r++) {
          for (let c = 0; c < n; c++) {
            out[pi + r] += block[r * n + c] * x[pj + c];
            if (i !== j) out[pj + c] += block[r * n + c] * x[pi + r];
          }
        }
      }
    });
    return out;
  }
}

/** Where each block begins in a vector over all blocks, and at the end the length of that vector. */
export function blockOffsets(sizes: readonly number[]): Int32Array {
  const offsets = new Int32Array(sizes.length + 1);
  sizes.forEach((size, i) => {
    offsets[i + 1] = offsets[i] + size;
  });
  return offsets;
}
