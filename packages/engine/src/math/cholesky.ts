/**
 * Lower Cholesky factor of a symmetric positive definite matrix, or null when it is not positive definite.
 *
 * @param matrix n x n, row-major; the lower triangle is read
 * @returns n x n, row-major, zeros above the diagonal
 */
export function choleskyFactor(matrix: ArrayLike<number>, n: number): Float64Array | null {
  const l = new Float64Array(n * n);
  for (let i = 0; i < n; i++) {
    const rowI = i * n;
    for (let j = 0; j <= i; j++) {
      const rowJ = j * n;
      let sum = matrix[rowI + j] as number;
      for (let k = 0; k < j; k++) sum -= l[rowI + k] * l[rowJ + k];
      if (i === j) {
        if (!(sum > 0) || !Number.isFinite(sum)) return null;
        l[rowI + i] = Math.sqrt(sum);
      } else {
        l[rowI + j] = sum / l[rowJ + j];
      }
    }
  }
  return l;
}

/** Solves A x = b with the factor of A. */
export function choleskySolve(factor: Float64Array, n: number, b: ArrayLike<number>): Float64Array {
  const x = new Float64Array(n);
  for (let i = 0; i < n; i++) {
    let sum = b[i] as number;
    for (let k = 0; k < i; k++) sum -= factor[i * n + k] * x[k];
    x[i] = sum / factor[i * n + i];
  }
  for (let i = n - 1; i >= 0; i--) {
    let sum = x[i];
    for (let k = i + 1; k < n; k++) sum -= factor[k * n + i] * x[k];
    x[i] = sum / factor[i * n + i];
  }
  return x;
}

/** Inverse of A from its factor, full symmetric n x n. */
export function choleskyInverse(factor: Float64Array, n: number): Float64Array {
  const inverseFactor = new Float64Array(n * n);
  for (let j = 0; j < n; j++) {
    inverseFactor[j * n + j] = 1 / factor[j * n + j];
    for (let i = j + 1; i < n; i++) {
      let sum = 0;
      for (let k = j; k < i; k++) sum -= factor[i * n + k] * inverseFactor[k * n + j];
      inverseFactor[i * n + j] = sum / factor[i * n + i];
    }
  }
  const inverse = new Float64Array(n * n);
  for (let i = 0; i < n; i++) {
    for (let j = 0; j <= i; j++) {
      let sum = 0;
      for (let k = i; k < n; k++) sum += inverseFactor[k * n + i] * inverseFactor[k * n + j];
      inverse[i * n + j] = sum;
      inverse[j * n + i] = sum;
    }
  }
  return inverse;
}
