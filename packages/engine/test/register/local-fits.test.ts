import { describe, expect, it } from 'vitest';
import { makeRandom } from '../../src/base/index.ts';
import { symmetricEigen } from '../../src/math/index.ts';
import { fitLocalQuadric } from '../../src/register/local-quadric.ts';
import { smallestEigenvector3 } from '../../src/register/plane-of-neighbours.ts';
import { medianInPlace, selectInPlace, tukeyWeight } from '../../src/register/robust-scale.ts';
import { trimDistances } from '../../src/register/trimmed-distances.ts';

describe('smallestEigenvector3', () => {
  it('agrees with Jacobi rotations on random, flat, thin and degenerate matrices', () => {
    const random = makeRandom(1, 'matrices');
    const out = new Float64Array(3);
    for (let trial = 0; trial < 3000; trial++) {
      // Spreads over ten decades, some equal.
      const spread = [0, 1, 2].map(
        () => 10 ** -Math.floor(6 * random.uniform()) * (trial % 3 === 0 ? 1 : random.uniform()),
      );
      const m = new Float64Array(9);
      for (let p = 0; p < 20; p++) {
        const a = [random.normal(), random.normal(), random.normal()].map((value, i) => value * spread[i]);
        const v = [a[0] + 0.3 * a[1], a[1] - 0.8 * a[2] + 0.1 * a[0], a[2] + 0.5 * a[0]];
        for (let i = 0; i < 3; i++) for (let j = 0; j < 3; j++) m[3 * i + j] += v[i] * v[j];
      }
      const trace = m[0] + m[4] + m[8];
      const share = smallestEigenvector3(m[0], m[1], m[2], m[4], m[5], m[8], out);
      const { values } = symmetricEigen(m, 3);
      // Two small values that nearly agree are known to the root of the machine precision only.
      expect(Math.abs(share - values[0] / trace)).toBeLessThan(3e-8);
      expect(Math.hypot(out[0], out[1], out[2])).toBeCloseTo(1, 12);
      // It is an eigenvector: nothing is left of (A - l) n. Where two values nearly agree its direction is open.
      const left = [0, 1, 2].map(
        (i) => m[3 * i] * out[0] + m[3 * i + 1] * out[1] + m[3 * i + 2] * out[2] - values[0] * out[i],
      );
      expect(Math.hypot(...left) / trace).toBeLessThan(1e-7);
    }
    for (const d of [
      [0, 0, 0],
      [1, 1, 1],
      [1, 0, 0],
      [1, 1, 0],
      [0, 2, 2],
    ]) {
      const share = smallestEigenvector3(d[0], 0, 0, d[1], 0, d[2], out);
      expect(Math.hypot(out[0], out[1], out[2])).toBeCloseTo(1, 12);
      const quadratic = d[0] * out[0] ** 2 + d[1] * out[1] ** 2 + d[2] * out[2] ** 2;
      expect(quadratic).toBeCloseTo(Math.min(...d), 12);
      expect(share).toBeLessThanOrEqual(1 / 3 + 1e-12);
    }
  });
});

describe('fitLocalQuadric', () => {
  it('gives a quadric back, and the residual variance of noise over the redundancy', () => {
    const random = makeRandom(2, 'quadric');
    const truth = [0.3, -0.2, 0.1, 0.5, -0.7, 0.2];
    const height = (u: number, v: number): number =>
      truth[0] + truth[1] * u + truth[2] * v + truth[3] * u * u + truth[4] * u * v + truth[5] * v * v;
    const k = 30;
    const local = new Float64Array(3 * k);
    const weights = new Float64Array(k).fill(1);
    const coefficients = new Float64Array(6);
    let variance = 0;
    const trials = 2000;
    for (let t = 0; t < trials; t++) {
      for (let i = 0; i < k; i++) {
        const [u, v] = [2 * random.uniform() - 1, 2 * random.uniform() - 1];
        local.set([u, v, height(u, v) + (t === 0 ? 0 : 0.01 * random.normal())], 3 * i);
      }
      const squares = fitLocalQuadric(local, weights, k, coefficients);
      if (t === 0) {
        expect(squares).toBeLessThan(1e-24);
        coefficients.forEach((value, i) => {
          expect(value).toBeCloseTo(truth[i], 12);
        });
      } else variance += squares / (k - 6) / (trials - 1);
    }
    // 48000 degrees of freedom: 0.1 % bounds are 1 -+ 0.021.
    expect(Math.abs(variance / 1e-4 - 1)).toBeLessThan(0.022);
  });

  it('refuses points on a line', () => {
    const local = Float64Array.from({ length: 30 }, (_, i) => (i % 3 === 0 ? i / 30 : 0));
    expect(fitLocalQuadric(local, new Float64Array(10).fill(1), 10, new Float64Array(6))).toBe(-1);
  });
});

describe('robust statistics', () => {
  it('selects as sorting does', () => {
    const random = makeRandom(3, 'select');
    for (let trial = 0; trial < 400; trial++) {
      const n = 1 + random.integer(60);
      const values = Float64Array.from({ length: n }, () => (trial % 2 === 0 ? random.normal() : random.integer(5)));
      const sorted = values.slice().sort();
      const k = random.integer(n);
      expect(selectInPlace(values.slice(), n, k)).toBe(sorted[k]);
      expect(medianInPlace(values.slice(), n)).toBe((sorted[(n - 1) >> 1] + sorted[n >> 1]) / 2);
    }
  });

  it("weighs as Tukey's biweight, with 95 % efficiency at 4.685 [integral recomputed]", () => {
    // Asymptotic efficiency (E psi')^2 / E psi^2 under the normal distribution, by the midpoint rule.
    const c = 4.685065;
    let slope = 0;
    let square = 0;
    const h = 1e-3;
    for (let x = -c + h / 2; x < c; x += h) {
      const density = Math.exp((-x * x) / 2) / Math.sqrt(2 * Math.PI);
      const psi = x * tukeyWeight(x, c);
      const q = x / c;
      slope += (1 - q * q) * (1 - 5 * q * q) * density * h;
      square += psi * psi * density * h;
    }
    expect((slope * slope) / square).toBeCloseTo(0.95, 5);
  });

  it('finds the share of distances that belong together', () => {
    const random = makeRandom(4, 'trim');
    const squared = Float64Array.from(
      { length: 1000 },
      (_, i) => (i < 400 ? random.uniform() : 50 + 100 * random.uniform()) ** 2,
    );
    const { share, distance } = trimDistances(squared, 1000);
    expect(share).toBeCloseTo(0.4, 2);
    expect(distance).toBeLessThanOrEqual(1);
  });
});
