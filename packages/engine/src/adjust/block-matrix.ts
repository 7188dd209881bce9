/** Unknowns in one block: the six parameters of a pose. */
export const BLOCK = 6;
export const BLOCK_AREA = 36;

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
      block = new Float64Array(BLOCK_AREA);
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

  /** Subtracts V U^T from block (i, j), i >= j. V, U: 6 x 3, row-major. */
  subtractOuter(i: number, j: number, v: Float64Array, u: Float64Array): void {
    const block = this.at(i, j);
    for (let r = 0; r < BLOCK; r++) {
      const [v0, v1, v2] = [v[3 * r], v[3 * r + 1], v[3 * r + 2]];
      for (let c = 0; c < BLOCK; c++) block[r * BLOCK + c] -= v0 * u[3 * c] + v1 * u[3 * c + 1] + v2 * u[3 * c + 2];
    }
  }
}
