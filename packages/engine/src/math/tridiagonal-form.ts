/** Share of the largest diagonal element below which a column is rounding. */
const ROUNDING = 1e-17;

/** A symmetric matrix turned to tridiagonal form: matrix = Q T Q^T. */
export interface TridiagonalForm {
  /** Diagonal of T, n numbers. */
  readonly diagonal: Float64Array;
  /** Off-diagonal of T: element i couples i and i + 1; n - 1 numbers. */
  readonly offDiagonal: Float64Array;
  /** Q^T times the columns that came along: column c holds n numbers from c n. */
  readonly columns: Float64Array;
}

/**
 * Householder reduction of a symmetric matrix to tridiagonal form, with some columns turned along; Q itself is not formed.
 *
 * With it, systems (a matrix + b identity) x = y are solved for any a and b at a cost of n each.
 *
 * @param matrix n x n, symmetric; overwritten
 * @param columns column c holds n numbers from c n; overwritten
 * Method   Golub & Van Loan 2013, algorithm 8.3.1. Cost 4/3 n^3.
 */
export function tridiagonalForm(
  matrix: Float64Array,
  n: number,
  columns: Float64Array,
  columnCount: number,
): TridiagonalForm {
  const diagonal = new Float64Array(n);
  const offDiagonal = new Float64Array(Math.max(0, n - 1));
  const v = new Float64Array(n);
  const p = new Float64Array(n);
  let largest = 0;
  for (let i = 0; i < n; i++) largest = Math.max(largest, Math.abs(matrix[i * n + i]));
  for (let k = 0; k + 1 < n; k++) {
    let norm = 0;
    for (let i = k + 1; i < n; i++) norm += matrix[i * n + k] * matrix[i * n + k];
    norm = Math.sqrt(norm);
    // Below the rounding of the diagonal there is nothing left to take out.
    if (!(norm > ROUNDING * largest)) continue;
    const first = matrix[(k + 1) * n + k];
    const alpha = first > 0 ? -norm : norm;
    offDiagonal[k] = alpha;
    let square = 0;
    for (let i = k + 1; i < n; i++) {
      v[i] = matrix[i * n + k] - (i === k + 1 ? alpha : 0);
      square += v[i] * v[i];
    }
    const beta = 2 / square;
    let along = 0;
    for (let i = k + 1; i < n; i++) {
      let sum = 0;
      const row = i * n;
      for (let j = k + 1; j < n; j++) sum += matrix[row + j] * v[j];
      p[i] = beta * sum;
      along += p[i] * v[i];
    }
    const half = (beta * along) / 2;
    for (let i = k + 1; i < n; i++) p[i] -= half * v[i];
    for (let i = k + 1; i < n; i++) {
      const row = i * n;
      const [vi, pi] = [v[i], p[i]];
      for (let j = k + 1; j < n; j++) matrix[row + j] -= vi * p[j] + pi * v[j];
    }
    for (let c = 0; c < columnCount; c++) {
      let sum = 0;
      for (let i = k + 1; i < n; i++) sum += v[i] * columns[c * n + i];
      sum *= beta;
      for (let i = k + 1; i < n; i++) columns[c * n + i] -= sum * v[i];
    }
  }
  for (let i = 0; i < n; i++) diagonal[i] = matrix[i * n + i];
  return { diagonal, offDiagonal, columns };
}
