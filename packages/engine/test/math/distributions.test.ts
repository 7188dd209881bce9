import {
  chiSquareQuantile,
  chiSquareTail,
  consistentTestLevel,
  detectableNoncentrality,
  fisherQuantile,
  fisherTail,
  logChiSquareTail,
  noncentralChiSquareTail,
  normalQuantile,
  normalTail,
  regionCoverageFactor,
  regionCoverageProbability,
  studentQuantile,
  studentTail,
  tauQuantile,
  tauTail,
} from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';

function near(actual: number, expected: number, tolerance: number): void {
  expect(Math.abs(actual - expected), `${actual} is not ${expected}`).toBeLessThanOrEqual(tolerance);
}

describe('normal distribution', () => {
  it('critical values of the w-test [Baarda68], two-sided', () => {
    for (const [level, value] of [
      [0.05, 1.96],
      [0.01, 2.5758],
      [0.005, 2.807],
      [0.002, 3.0902],
      [0.001, 3.2905],
    ] as const)
      near(normalQuantile(level / 2), value, 5e-5);
  });

  it('keeps its relative digits far out, as the asymptotic series says', () => {
    for (const x of [12, 20, 35]) {
      const s = 1 / (x * x);
      const series = 1 - s + 3 * s * s - 15 * s ** 3 + 105 * s ** 4 - 945 * s ** 5;
      const expected = (Math.exp((-x * x) / 2) / (x * Math.sqrt(2 * Math.PI))) * series;
      near(normalTail(x) / expected, 1, 2e-8);
    }
    near(normalTail(-1.3) + normalTail(1.3), 1, 1e-15);
    near(normalQuantile(0.9) + normalQuantile(0.1), 0, 1e-15);
    expect(normalQuantile(0.5)).toBe(0);
    expect(() => normalQuantile(0)).toThrow(RangeError);
    expect(() => normalTail(Number.NaN)).toThrow(RangeError);
  });
});

describe('Student distribution', () => {
  // JCGM 100, table G.2, with two more digits of the exact quantiles: columns 68.27, 90, 95, 95.45, 99, 99.73 %.
  const TABLE: readonly (readonly number[])[] = [
    [1, 1.8373, 6.3138, 12.7062, 13.9677, 63.6567],
    [2, 1.3213, 2.92, 4.3027, 4.5265, 9.9248, 19.2067],
    [3, 1.1969, 2.3534, 3.1824, 3.3068, 5.8409, 9.2189],
    [5, 1.1105, 2.015, 2.5706, 2.6486, 4.0321, 5.5071],
    [10, 1.0526, 1.8125, 2.2281, 2.2837, 3.1693, 3.9569],
    [16, 1.0322, 1.7459, 2.1199, 2.1689, 2.9208, 3.5441],
    [20, 1.0256, 1.7247, 2.086, 2.133, 2.8453, 3.4222],
    [50, 1.0101, 1.6759, 2.0086, 2.0512, 2.6778, 3.1571],
    [100, 1.005, 1.6602, 1.984, 2.0253, 2.6259, 3.0768],
    [Number.POSITIVE_INFINITY, 1, 1.6449, 1.96, 2, 2.5758, 3],
  ];
  const PERCENT = [68.26894921, 90, 95, 95.44997361, 99, 99.73002039];

  it('table G.2 of JCGM 100', () => {
    for (const [degrees, ...values] of TABLE) {
      values.forEach((value, i) => {
        near(studentQuantile((1 - PERCENT[i]! / 100) / 2, degrees!), value, 6e-5);
      });
    }
    // The printed 235.80 belongs to the probability of exactly three sigma.
    near(studentQuantile((1 - 0.9973002039367398) / 2, 1), 235.8, 0.005);
    near(studentQuantile((1 - 0.9973) / 2, 1), 235.78, 0.01);
  });

  it('is Cauchy with one degree of freedom, closed with two, normal in the limit', () => {
    for (const t of [0.1, 1, 7, 4000]) {
      near(studentTail(t, 1) / (Math.atan2(1, t) / Math.PI), 1, 1e-12);
      near(studentTail(t, 2), (1 - t / Math.sqrt(2 + t * t)) / 2, 1e-14);
    }
    near(studentTail(1.7, 1e9), normalTail(1.7), 1e-9);
    near(studentQuantile(0.995, 4), -4.6041, 5e-5);
    expect(() => studentTail(1, 0)).toThrow(RangeError);
  });
});

describe('F distribution', () => {
  // Upper-tail quantiles as in printed tables; nu1, nu2, F 0.90, 0.95, 0.975, 0.99.
  const TABLE = [
    [1, 1, 39.8635, 161.4476, 647.789, 4052.1807],
    [1, 120, 2.7478, 3.9201, 5.1523, 6.8509],
    [2, 3, 5.4624, 9.5521, 16.0441, 30.8165],
    [2, 10, 2.9245, 4.1028, 5.4564, 7.5594],
  ];

  it('printed quantiles', () => {
    for (const [a, b, ...values] of TABLE) {
      values.forEach((value, i) => {
        near(fisherQuantile([0.1, 0.05, 0.025, 0.01][i]!, a!, b!), value, 6e-5);
      });
    }
    near(fisherQuantile(0.05, 5, 10), 3.3258, 5e-5);
    near(fisherQuantile(0.05, 10, 5), 4.7351, 5e-5);
    near(fisherQuantile(0.05, 20, 20), 2.1242, 5e-5);
    near(fisherQuantile(0.025, 5, 10), 4.2361, 5e-5);
  });

  it('turns over with its degrees of freedom, and becomes Student squared and chi-square', () => {
    near(fisherQuantile(0.05, 7, 12) * fisherQuantile(0.95, 12, 7), 1, 1e-12);
    near(fisherTail(2.3 ** 2, 1, 9), 2 * studentTail(2.3, 9), 1e-14);
    near(fisherTail(11.07 / 5, 5, 1e9), chiSquareTail(11.07, 5), 1e-7);
    expect(() => fisherTail(1, 0, 2)).toThrow(RangeError);
    expect(fisherTail(0, 3, 4)).toBe(1);
  });
});

describe('chi-square distribution', () => {
  it('bounds of the variance factor in the global test, two-sided 95 %, and one-sided', () => {
    for (const [r, low, high, one] of [
      [1, 0.001, 5.0239, 3.8415],
      [5, 0.1662, 2.5665, 2.2141],
      [10, 0.3247, 2.0483, 1.8307],
      [20, 0.4795, 1.7085, 1.5705],
      [50, 0.6471, 1.4284, 1.3501],
      [100, 0.7422, 1.2956, 1.2434],
    ] as const) {
      near(chiSquareQuantile(0.975, r) / r, low, 5e-5);
      near(chiSquareQuantile(0.025, r) / r, high, 5e-5);
      near(chiSquareQuantile(0.05, r) / r, one, 5e-5);
    }
  });

  it('its logarithm goes on where the tail is zero', () => {
    for (const x of [0.5, 3, 20, 600]) near(logChiSquareTail(x, 3), Math.log(chiSquareTail(x, 3)), 1e-12);
    // Two degrees of freedom: exactly -x/2.
    near(logChiSquareTail(9000, 2), -4500, 1e-9);
    expect(chiSquareTail(9000, 2)).toBe(0);
    expect(logChiSquareTail(9000, 6)).toBeGreaterThan(logChiSquareTail(9000, 3));
  });

  it('factors of confidence regions', () => {
    near(regionCoverageProbability(1, 2), 0.39347, 5e-6);
    near(regionCoverageProbability(1, 3), 0.19875, 5e-6);
    for (const [p, values] of [
      [0.95, [1.96, 2.44775, 2.79548]],
      [0.99, [2.57583, 3.03485, 3.36821]],
    ] as const) {
      values.forEach((k, i) => {
        near(regionCoverageFactor(p, i + 1), k, 4e-5);
      });
    }
  });
});

describe('noncentral chi-square distribution', () => {
  it('with one degree of freedom it is a normal variable squared', () => {
    for (const delta of [0.3, 2, 4.1321, 9, 40]) {
      for (const x of [0.5, 10.8276, 90]) {
        const k = Math.sqrt(x);
        const expected = normalTail(k - delta) + normalTail(k + delta);
        near(noncentralChiSquareTail(x, 1, delta * delta), expected, 1e-12);
      }
    }
    near(noncentralChiSquareTail(7, 4, 0), chiSquareTail(7, 4), 1e-15);
    expect(() => noncentralChiSquareTail(1, 1, -1)).toThrow(RangeError);
  });
});

describe('detectable errors [Baarda68]', () => {
  it('noncentrality from level and power', () => {
    for (const [level, power, delta, lambda] of [
      [0.001, 0.8, 4.1321, 17.0746],
      [0.001, 0.9, 4.5721, 4.5721 ** 2],
      [0.01, 0.8, 3.4175, 11.679],
      [0.05, 0.8, 2.8016, 7.849],
    ] as const) {
      const found = detectableNoncentrality(level, power);
      near(Math.sqrt(found), delta, 5e-5);
      near(found, lambda, 6e-4);
    }
    expect(() => detectableNoncentrality(0.1, 0.1)).toThrow(RangeError);
  });

  it('levels of tests with several degrees of freedom that find the same error (B-method)', () => {
    const lambda = detectableNoncentrality(0.001, 0.8);
    for (const [q, level, limit] of [
      [1, 0.001, 10.8276],
      [2, 0.002837, 11.73],
      [3, 0.0055, 12.6335],
      [5, 0.013024, 14.4437],
      [7, 0.02286, 16.2581],
      [10, 0.040426, 18.9871],
      [20, 0.106099, 28.1412],
      [30, 0.166659, 37.368],
    ] as const) {
      const found = consistentTestLevel(lambda, 0.8, q);
      near(found, level, 6e-7);
      near(chiSquareQuantile(found, q), limit, 6e-5);
      near(noncentralChiSquareTail(limit, q, lambda), 0.8, 1e-5);
    }
  });
});

describe('tau test [Pope76]', () => {
  // Two-sided critical values; dof, level 0.05, level 0.001.
  const TABLE = [
    [2, 1.40985, Math.SQRT2],
    [5, 1.81435, 2.17808],
    [10, 1.90391, 2.6786],
    [20, 1.9358, 2.9749],
    [100, 1.9557, 3.22634],
    [1000, 1.95955, 3.28409],
    [Number.POSITIVE_INFINITY, 1.95996, 3.29053],
  ];

  it('critical values, never above the root of the redundancy', () => {
    for (const [r, five, tenth] of TABLE) {
      near(tauQuantile(0.05, r!), five!, 6e-6);
      near(tauQuantile(0.001, r!), tenth!, 6e-6);
      expect(tauQuantile(1e-9, r!)).toBeLessThanOrEqual(Math.sqrt(r!));
    }
    near(tauQuantile(0.001, 14), 2.845, 5e-5);
    near(tauQuantile(0.05 / 27, 14), 2.745, 5e-5);
  });

  it('its tail is the inverse', () => {
    for (const r of [2, 14, 60]) near(tauTail(tauQuantile(0.01, r), r), 0.01, 1e-12);
    expect(tauTail(4, 14)).toBe(0);
    expect(() => tauQuantile(0.05, 1)).toThrow(RangeError);
    expect(() => tauTail(1, 1)).toThrow(RangeError);
  });
});
