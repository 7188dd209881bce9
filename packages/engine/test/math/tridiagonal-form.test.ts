import { EigenvalueDecomposition, Matrix, solve } from 'ml-matrix';
import { describe, expect, it } from 'vitest';
import { makeRandom, tridiagonalForm } from '../../src/index.ts';

function randomSymmetric(n: number, seed: string): Float64Array {
  const random = makeRandom(7, seed);
  const m = new Float64Array(n * n);
  for (let i = 0; i < n; i++)
    for (let j = 0; j <= i; j++) {
      m[i * n + j] = random.normal();
      m[j * n + i] = m[i * n + j];
    }
  return m;
}

function rows(n: number, at: (i: number, j: number) => number): Matrix {
  return new Matrix(Array.from({ length: n }, (_, i) => Array.from({ length: n }, (_, j) => at(i, j))));
}

describe('tridiagonalForm', () => {
  it.each([1, 2, 3, 8, 40])('keeps eigenvalues and inner products, n = %i (reference: ml-matrix)', (n) => {
    const m = randomSymmetric(n, `m ${n}`);
    const random = makeRandom(7, `c ${n}`);
    const columns = Float64Array.from({ length: 2 * n }, () => random.normal());
    const form = tridiagonalForm(m.slice(), n, columns.slice(), 2);
    const t = rows(n, (i, j) =>
      i === j ? form.diagonal[i] : Math.abs(i - j) === 1 ? form.offDiagonal[Math.min(i, j)] : 0,
    );
    const full = rows(n, (i, j) => m[i * n + j]);
    const sorted = (a: Matrix): number[] =>
      new EigenvalueDecomposition(a, { assumeSymmetric: true }).realEigenvalues.sort((x, y) => x - y);
    const [own, known] = [sorted(t), sorted(full)];
    own.forEach((value, k) => {
      expect(value).toBeCloseTo(known[k], 10);
    });
    expect(own).toHaveLength(n);
    // y^T (M + 9 I)^-1 x is the same in both forms.
    const shift = Matrix.eye(n).mul(9 + 2 * n);
    const product = (a: Matrix, c: Float64Array): number =>
      Matrix.columnVector([...c.subarray(n, 2 * n)])
        .transpose()
        .mmul(solve(Matrix.add(a, shift), Matrix.columnVector([...c.subarray(0, n)])))
        .get(0, 0);
    expect(product(t, form.columns)).toBeCloseTo(product(full, columns), 10);
  });

  it('leaves a matrix that is diagonal but for traces too small to square as it is', () => {
    const m = Float64Array.from([2, 1e-170, 0, 1e-170, 3, 1e-200, 0, 1e-200, 4]);
    const form = tridiagonalForm(m, 3, new Float64Array([1, 2, 3]), 1);
    expect([...form.diagonal]).toEqual([2, 3, 4]);
    expect([...form.columns].map(Math.abs)).toEqual([1, 2, 3]);
  });
});
