/** Eigenvalues in ascending order; `vectors` row-major n x n, column k belongs to value k. */
export interface SymmetricEigen {
  readonly values: Float64Array;
  readonly vectors: Float64Array;
}

/**
 * Eigenvalues and orthonormal eigenvectors of a symmetric matrix.
 *
 * Method   cyclic Jacobi rotations, to machine precision; small eigenvalues keep their relative digits.
 * Cost     about 10 n^3; meant for n up to some tens.
 *
 * @param matrix n x n, row-major; only its symmetric part counts
 */
export function symmetricEigen(matrix: ArrayLike<number>, n: number): SymmetricEigen {
  const a = new Float64Array(n * n);
  const v = new Float64Array(n * n);
  for (let i = 0; i < n; i++) {
    v[i * n + i] = 1;
    for (let j = 0; j < n; j++) a[i * n + j] = ((matrix[i * n + j] as number) + (matrix[j * n + i] as number)) / 2;
  }
  for (const value of a)
    if (!Number.isFinite(value)) throw new RangeError('A matrix with values that are no numbers has no eigenvalues.');
  for (let sweep = 0; sweep < 60; sweep++) {
    let rotated = false;
    for (let p = 0; p < n - 1; p++) {
      for (let q = p + 1; q < n; q++) {
        const apq = a[p * n + q];
        if (apq === 0) continue;
        const app = a[p * n + p];
        const aqq = a[q * n + q];
        if (Math.abs(apq) <= 1e-18 * Math.sqrt(Math.abs(app * aqq)) || Math.abs(apq) < 1e-300) {
          a[p * n + q] = 0;
          a[q * n + p] = 0;
          continue;
        }
        rotated = true;
        const theta = (aqq - app) / (2 * apq);
        const t = (theta >= 0 ? 1 : -1) / (Math.abs(theta) + Math.hypot(theta, 1));
        const c = 1 / Math.hypot(t, 1);
        const s = t * c;
        for (let k = 0; k < n; k++) {
          const akp = a[k * n + p];
          const akq = a[k * n + q];
          a[k * n + p] = c * akp - s * akq;
          a[k * n + q] = s * akp + c * akq;
        }
        for (let k = 0; k < n; k++) {
          const apk = a[p * n + k];
          const aqk = a[q * n + k];
          a[p * n + k] = c * apk - s * aqk;
          a[q * n + k] = s * apk + c * aqk;
        }
        a[p * n + q] = 0;
        a[q * n + p] = 0;
        for (let k = 0; k < n; k++) {
          const vkp = v[k * n + p];
          const vkq = v[k * n + q];
          v[k * n + p] = c * vkp - s * vkq;
          v[k * n + q] = s * vkp + c * vkq;
        }
      }
    }
    if (!rotated) break;
  }
  const order = Array.from({ length: n }, (_, i) => i).sort((i, j) => a[i * n + i] - a[j * n + j]);
  const values = new Float64Array(n);
  const vectors = new Float64Array(n * n);
  order.forEach((from, to) => {
    values[to] = a[from * n + from];
    for (let k = 0; k < n; k++) vectors[k * n + to] = v[k * n + from];
  });
  return { values, vectors };
}
