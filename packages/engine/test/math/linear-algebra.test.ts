import {
  chiSquareQuantile,
  chiSquareTail,
  choleskyFactor,
  choleskyInverse,
  choleskySolve,
  invertSymmetric3,
  type Matrix3,
  makeRandom,
  multiplyMatrix3,
  multiplyMatrix3Vector,
  quaternionOfVector,
  rotateCovariance3,
  rotationMatrix,
  symmetricEigen,
} from '@lapjoint/engine';
import { CholeskyDecomposition, EigenvalueDecomposition, inverse, Matrix } from 'ml-matrix';
import { describe, expect, it } from 'vitest';

function near(actual: number, expected: number, tolerance: number): void {
  expect(Math.abs(actual - expected), `${actual} is not ${expected}`).toBeLessThanOrEqual(tolerance);
}

function randomSpd(n: number, name: string, condition: number): number[] {
  const random = makeRandom(7, name);
  const a = new Matrix(n, n);
  for (let i = 0; i < n; i++) for (let j = 0; j < n; j++) a.set(i, j, random.normal());
  const q = a.mmul(a.transpose());
  for (let i = 0; i < n; i++) q.set(i, i, q.get(i, i) + q.get(0, 0) / condition);
  return q.to1DArray();
}

describe('Cholesky factor', () => {
  for (const n of [1, 2, 6, 23]) {
    it(`agrees with ml-matrix for n = ${n}`, () => {
      const a = randomSpd(n, `cholesky-${n}`, 1e3);
      const reference = new Matrix(Array.from({ length: n }, (_, i) => a.slice(i * n, i * n + n)));
      const l = choleskyFactor(a, n) as Float64Array;
      const expected = new CholeskyDecomposition(reference).lowerTriangularMatrix.to1DArray();
      l.forEach((value, i) => {
        near(value, expected[i] as number, 1e-11 * (1 + Math.abs(expected[i] as number)));
      });
      const b = Array.from({ length: n }, (_, i) => Math.sin(i + 1));
      const x = choleskySolve(l, n, b);
      const back = reference.mmul(Matrix.columnVector([...x])).to1DArray();
      back.forEach((value, i) => {
        near(value, b[i] as number, 1e-10);
      });
      const own = choleskyInverse(l, n);
      const other = inverse(reference).to1DArray();
      own.forEach((value, i) => {
        near(value, other[i] as number, 1e-8 * Math.max(...other.map(Math.abs)));
      });
    });
  }

  it('refuses what is not positive definite', () => {
    expect(choleskyFactor([1, 2, 2, 1], 2)).toBeNull();
    expect(choleskyFactor([1, 0, 0, 0], 2)).toBeNull();
    expect(choleskyFactor([Number.NaN], 1)).toBeNull();
  });
});

describe('symmetric eigenvalues', () => {
  for (const n of [1, 3, 4, 6, 20]) {
    it(`agrees with ml-matrix for n = ${n}, ascending, orthonormal`, () => {
      const a = randomSpd(n, `eigen-${n}`, 1e6);
      const { values, vectors } = symmetricEigen(a, n);
      const reference = new EigenvalueDecomposition(
        new Matrix(Array.from({ length: n }, (_, i) => a.slice(i * n, i * n + n))),
        { assumeSymmetric: true },
      ).realEigenvalues.sort((x, y) => x - y);
      const largest = reference[n - 1] as number;
      values.forEach((value, k) => {
        near(value, reference[k] as number, 1e-12 * largest);
        if (k > 0) expect(value).toBeGreaterThanOrEqual(values[k - 1] as number);
        for (let i = 0; i < n; i++) {
          let product = 0;
          for (let j = 0; j < n; j++) product += (a[i * n + j] as number) * (vectors[j * n + k] as number);
          near(product, value * (vectors[i * n + k] as number), 1e-12 * largest);
        }
        for (let l = 0; l <= k; l++) {
          let product = 0;
          for (let i = 0; i < n; i++) product += (vectors[i * n + k] as number) * (vectors[i * n + l] as number);
          near(product, k === l ? 1 : 0, 1e-13);
        }
      });
    });
  }

  it('keeps the relative digits of small eigenvalues and takes equal and zero ones', () => {
    expect([...symmetricEigen([1e-12, 0, 0, 1], 2).values]).toEqual([1e-12, 1]);
    expect([...symmetricEigen([2, 0, 0, 0, 2, 0, 0, 0, 2], 3).values]).toEqual([2, 2, 2]);
    expect([...symmetricEigen([0, 0, 0, 0], 2).values]).toEqual([0, 0]);
    // [[1, 1], [1, 1 + d]]: eigenvalues (2 + d -+ sqrt(4 + d^2)) / 2; for d = 1e-10 the small one is d / 2.
    near(symmetricEigen([1, 1, 1, 1 + 1e-10], 2).values[0] as number, 0.5e-10, 1e-16);
    expect(() => symmetricEigen([Number.NaN], 1)).toThrow(RangeError);
  });
});

describe('3 x 3 matrices', () => {
  it('inverse, product and rotated covariance against ml-matrix', () => {
    for (let trial = 0; trial < 30; trial++) {
      const a = randomSpd(3, `m3-${trial}`, 1e3) as unknown as Matrix3;
      const rows = (m: Matrix3): Matrix => new Matrix([m.slice(0, 3), m.slice(3, 6), m.slice(6, 9)]);
      const expected = inverse(rows(a)).to1DArray();
      const own = invertSymmetric3(a) as Matrix3;
      const size = Math.max(...expected.map(Math.abs));
      own.forEach((value, i) => {
        near(value, expected[i] as number, 1e-10 * size);
      });
      multiplyMatrix3(a, own).forEach((value, i) => {
        near(value, i % 4 === 0 ? 1 : 0, 1e-9);
      });
      const q = quaternionOfVector([trial, 1, -2]);
      const r = rows(rotationMatrix(q));
      const turned = r.mmul(rows(a)).mmul(r.transpose()).to1DArray();
      rotateCovariance3(q, a).forEach((value, i) => {
        near(value, turned[i] as number, 1e-12 * Math.max(...a.map(Math.abs)));
      });
      expect(multiplyMatrix3Vector(a, [0, 1, 0])).toEqual([a[1], a[4], a[7]]);
    }
    expect(invertSymmetric3([1, 1, 0, 1, 1, 0, 0, 0, 1])).toBeNull();
    expect(invertSymmetric3([-1, 0, 0, 0, 1, 0, 0, 0, 1])).toBeNull();
  });
});

describe('chi-square distribution', () => {
  // Quantiles of published tables, recomputed with another program.
  const table: [number, number, number, number][] = [
    [0.001, 1, 10.8276, 5e-5],
    [0.002837, 2, 11.73, 5e-4],
    [0.0055, 3, 12.6335, 5e-4],
    [0.001, 3, 16.2662, 5e-5],
    [0.05, 1, 3.8415, 5e-5],
    [0.05, 5, 11.0705, 5e-5],
    [0.05, 10, 18.307, 5e-5],
    [0.05, 20, 31.4104, 5e-5],
    [0.05, 100, 124.3421, 5e-5],
    [0.025, 27, 43.1945, 5e-5],
    [0.975, 27, 14.5734, 5e-5],
    [0.166659, 30, 37.368, 5e-4],
  ];
  for (const [tail, dof, value, tolerance] of table) {
    it(`upper ${tail} point with ${dof} degrees of freedom is ${value}`, () => {
      near(chiSquareQuantile(tail, dof), value, tolerance);
      near(chiSquareTail(chiSquareQuantile(tail, dof), dof), tail, 1e-13);
    });
  }

  it('vPv 13.514475 with 27 degrees of freedom has the cumulative probability 0.01444 [Ghilani10, ch. 17]', () => {
    near(1 - chiSquareTail(13.514475, 27), 0.01444, 5e-6);
  });

  it('the 1-sigma interval, ellipse and ellipsoid hold 68.269, 39.347 and 19.875 percent', () => {
    near(1 - chiSquareTail(1, 1), 0.68269, 5e-6);
    near(1 - chiSquareTail(1, 2), 0.39347, 5e-6);
    near(1 - chiSquareTail(1, 3), 0.19875, 5e-6);
  });

  it('keeps its digits far out in the tail: exp(-x/2) for two degrees of freedom', () => {
    for (const x of [0.1, 1, 50, 300]) near(chiSquareTail(x, 2) / Math.exp(-x / 2), 1, 1e-12);
    expect(chiSquareTail(0, 4)).toBe(1);
    expect(chiSquareTail(Number.POSITIVE_INFINITY, 4)).toBe(0);
    expect(() => chiSquareTail(1, 0)).toThrow(RangeError);
    expect(() => chiSquareQuantile(1, 3)).toThrow(RangeError);
  });
});
