/** Columns become rows: rows x columns, row-major. */
export function transposeBlock(block: Float64Array, rows: number, columns: number): Float64Array {
  const out = new Float64Array(block.length);
  for (let r = 0; r < rows; r++) for (let c = 0; c < columns; c++) out[c * rows + r] = block[r * columns + c];
  return out;
}

/** a b for a of rows x n and b of n x n. */
export function multiplyBlocks(a: Float64Array, b: Float64Array, rows: number, n: number): Float64Array {
  const out = new Float64Array(rows * n);
  for (let r = 0; r < rows; r++) {
    for (let k = 0; k < n; k++) {
      const value = a[r * n + k];
      for (let c = 0; c < n; c++) out[r * n + c] += value * b[k * n + c];
    }
  }
  return out;
}

/** out -= a b^T for a of m x k, b of n x k: the innermost loop of the factorisation, unrolled for frames. */
export function subtractTransposedProduct(
  out: Float64Array,
  a: Float64Array,
  b: Float64Array,
  m: number,
  n: number,
  k: number,
): void {
  if (k === 6) {
    for (let r = 0; r < m; r++) {
      const p = 6 * r;
      const [a0, a1, a2, a3, a4, a5] = [a[p], a[p + 1], a[p + 2], a[p + 3], a[p + 4], a[p + 5]];
      for (let c = 0, q = 0; c < n; c++, q += 6) {
        out[r * n + c] -= a0 * b[q] + a1 * b[q + 1] + a2 * b[q + 2] + a3 * b[q + 3] + a4 * b[q + 4] + a5 * b[q + 5];
      }
    }
    return;
  }
  for (let r = 0; r < m; r++) {
    for (let c = 0; c < n; c++) {
      let sum = 0;
      for (let i = 0; i < k; i++) sum += a[r * k + i] * b[c * k + i];
      out[r * n + c] -= sum;
    }
  }
}

/** Adds A C B^T into out (p x p) for A of p x m, C of m x n, B of p x n. */
export function addProjected(
  out: Float64Array,
  a: ArrayLike<number>,
  c: ArrayLike<number>,
  b: ArrayLike<number>,
  p: number,
  m: number,
  n: number,
): void {
  const half = new Float64Array(n);
  for (let i = 0; i < p; i++) {
    half.fill(0);
    for (let k = 0; k < m; k++) {
      const value = a[i * m + k] as number;
      if (value !== 0) for (let j = 0; j < n; j++) half[j] += value * (c[k * n + j] as number);
    }
    for (let j = 0; j < p; j++) {
      let sum = 0;
      for (let k = 0; k < n; k++) sum += half[k] * (b[j * n + k] as number);
      out[i * p + j] += sum;
    }
  }
}
