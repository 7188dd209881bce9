import {
  effectiveDegreesOfFreedom,
  numericJacobian,
  propagateUncertainty,
  secondOrderVariance,
  standardUncertaintyOfLimits,
  studentCoverageFactor,
} from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';

function near(actual: number, expected: number, tolerance: number): void {
  expect(Math.abs(actual - expected), `${actual} is not ${expected}`).toBeLessThanOrEqual(tolerance);
}

const diagonal = (u: readonly number[]): Float64Array => {
  const c = new Float64Array(u.length * u.length);
  u.forEach((value, i) => {
    c[i * u.length + i] = value * value;
  });
  return c;
};

describe('JCGM 100, H.1: calibration of an end gauge', () => {
  // l = ls + d - ls (dAlpha theta + alphaS dTheta); mm, 1/K, K.
  const model = (x: ArrayLike<number>): number => x[0]! + x[1]! - x[0]! * (x[2]! * x[3]! + x[4]! * x[5]!);
  const estimates = [50.000623, 215e-6, 0, -0.1, 11.5e-6, 0];
  const uDifference = Math.hypot(5.8e-6, 3.9e-6, 6.7e-6);
  const uTheta = Math.hypot(0.2, standardUncertaintyOfLimits(0.5, 'arcsine'));
  const u = [
    25e-6,
    uDifference,
    standardUncertaintyOfLimits(1e-6),
    uTheta,
    standardUncertaintyOfLimits(2e-6),
    standardUncertaintyOfLimits(0.05),
  ];

  it('length, combined standard uncertainty, effective degrees of freedom and U99', () => {
    const result = propagateUncertainty((x) => [model(x)], estimates, diagonal(u));
    near(result.values[0]!, 50.000838, 5e-7);
    const combined = result.standardUncertainties[0]!;
    near(combined * 1e6, 31.66, 0.02);
    expect(Math.round(combined * 1e6)).toBe(32);
    const parts = result.jacobian.map((slope, i) => Math.abs(slope) * u[i]!);
    near(parts[1]! * 1e6, 9.7, 0.05);
    near(parts[2]! * 1e6, 2.9, 0.05);
    near(parts[5]! * 1e6, 16.6, 0.1);
    const degreesOfDifference = effectiveDegreesOfFreedom([
      { contribution: 5.8, degreesOfFreedom: 24 },
      { contribution: 3.9, degreesOfFreedom: 5 },
      { contribution: 6.7, degreesOfFreedom: 8 },
    ]);
    // Printed 25.6 from rounded parts; exact 25.45.
    near(degreesOfDifference, 25.45, 0.005);
    const degrees = effectiveDegreesOfFreedom(
      [18, degreesOfDifference, 50, Number.POSITIVE_INFINITY, Number.POSITIVE_INFINITY, 2].map((nu, i) => ({
        contribution: parts[i]!,
        degreesOfFreedom: nu,
      })),
    );
    near(degrees, 16.75, 0.06);
    expect(Math.floor(degrees)).toBe(16);
    const k = studentCoverageFactor(0.99, 16);
    near(k, 2.92, 0.005);
    expect(Math.round(k * 32)).toBe(93);
  });

  it('the second-order terms raise 32 nm to 34 nm', () => {
    const terms = secondOrderVariance(model, estimates, u);
    const pair = (i: number, j: number): number => Math.sqrt(terms[i * 6 + j]! + terms[j * 6 + i]!) * 1e6;
    near(pair(2, 3), 11.7, 0.05);
    near(pair(4, 5), 1.7, 0.05);
    const first = propagateUncertainty((x) => [model(x)], estimates, diagonal(u)).covariance[0]!;
    const second = terms.reduce((sum, t) => sum + t, 0);
    near(Math.sqrt(first + second) * 1e6, 33.8, 0.05);
  });
});

describe('JCGM 100, H.2: simultaneous resistance and reactance', () => {
  const V = [5.007, 4.994, 5.005, 4.99, 4.999];
  const I = [19.663, 19.639, 19.64, 19.685, 19.678].map((v) => v * 1e-3);
  const PHI = [1.0456, 1.0438, 1.0468, 1.0428, 1.0433];
  const columns = [V, I, PHI];
  const mean = (x: readonly number[]): number => x.reduce((a, b) => a + b, 0) / x.length;
  const means = columns.map(mean);
  const covariance = new Float64Array(9);
  for (let i = 0; i < 3; i++) {
    for (let j = 0; j < 3; j++) {
      let sum = 0;
      for (let k = 0; k < 5; k++) sum += (columns[i]![k]! - means[i]!) * (columns[j]![k]! - means[j]!);
      covariance[3 * i + j] = sum / 20;
    }
  }
  const impedance = ([v, i, phi]: readonly number[]): number[] => [
    (v! / i!) * Math.cos(phi!),
    (v! / i!) * Math.sin(phi!),
    v! / i!,
  ];
  const correlation = (c: ArrayLike<number>, i: number, j: number): number =>
    c[3 * i + j]! / Math.sqrt(c[4 * i]! * c[4 * j]!);

  it('values, standard uncertainties and correlations', () => {
    near(correlation(covariance, 0, 1), -0.355311, 5e-7);
    near(correlation(covariance, 0, 2), 0.857624, 5e-7);
    near(correlation(covariance, 1, 2), -0.645111, 5e-7);
    const result = propagateUncertainty((x) => impedance([...x]), means, covariance);
    [127.73217, 219.84651, 254.2597].forEach((value, i) => {
      near(result.values[i]!, value, 5e-6);
    });
    [0.071071, 0.295582, 0.236336].forEach((value, i) => {
      near(result.standardUncertainties[i]!, value, 5e-7);
    });
    near(correlation(result.covariance, 0, 1), -0.58843, 5e-7);
    near(correlation(result.covariance, 0, 2), -0.485259, 5e-7);
    near(correlation(result.covariance, 1, 2), 0.992512, 5e-7);
  });

  it('method 2: each set on its own', () => {
    const sets = V.map((v, k) => impedance([v, I[k]!, PHI[k]!]));
    [127.73163, 219.84689, 254.26005].forEach((value, i) => {
      near(mean(sets.map((s) => s[i]!)), value, 5e-6);
    });
  });
});

describe('JCGM 100, H.3: calibration of a thermometer', () => {
  const t = [21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.01, 26.511];
  const b = [-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.16];

  it('line, its covariance, and a correction far outside', () => {
    // The line as a function of the eleven corrections: each with the standard deviation of the fit.
    const line = (values: ArrayLike<number>): [number, number] => {
      const n = t.length;
      const x = t.map((v) => v - 20);
      const sx = x.reduce((s, v) => s + v, 0);
      const sxx = x.reduce((s, v) => s + v * v, 0);
      const sy = x.reduce((s, _, i) => s + values[i]!, 0);
      const sxy = x.reduce((s, v, i) => s + v * values[i]!, 0);
      const d = n * sxx - sx * sx;
      return [(sy * sxx - sxy * sx) / d, (n * sxy - sx * sy) / d];
    };
    const [y1, y2] = line(b);
    near(y1, -0.17120379, 5e-9);
    near(y2, 0.0021827, 5e-9);
    const s = Math.sqrt(b.reduce((sum, v, i) => sum + (v - y1 - y2 * (t[i]! - 20)) ** 2, 0) / 9);
    near(s, 0.00349756, 5e-9);
    const result = propagateUncertainty(line, b, diagonal(b.map(() => s)));
    near(result.standardUncertainties[0]!, 0.0028776, 5e-9);
    near(result.standardUncertainties[1]!, 0.00066794, 5e-9);
    const r = result.covariance[1]! / (result.standardUncertainties[0]! * result.standardUncertainties[1]!);
    near(r, -0.93043, 5e-7);
    const at30 = propagateUncertainty(([p, q]) => [p! + 10 * q!], [y1, y2], result.covariance);
    near(at30.values[0]!, -0.14937681, 5e-9);
    near(at30.standardUncertainties[0]!, 0.0041386, 5e-9);
  });
});

describe('parts of an uncertainty budget', () => {
  it('Welch-Satterthwaite', () => {
    const degrees = effectiveDegreesOfFreedom([
      { contribution: 0.57, degreesOfFreedom: 9 },
      { contribution: 0.25, degreesOfFreedom: Number.POSITIVE_INFINITY },
    ]);
    near(degrees, 12.7956, 5e-5);
    expect(effectiveDegreesOfFreedom([{ contribution: 1, degreesOfFreedom: Number.POSITIVE_INFINITY }])).toBe(
      Number.POSITIVE_INFINITY,
    );
    expect(() => effectiveDegreesOfFreedom([{ contribution: 1, degreesOfFreedom: 0 }])).toThrow(RangeError);
  });

  it('divisors of type B limits', () => {
    near(standardUncertaintyOfLimits(1), 0.57735, 5e-7);
    near(standardUncertaintyOfLimits(1, 'triangular'), 0.408248, 5e-7);
    near(standardUncertaintyOfLimits(1, 'arcsine'), Math.SQRT1_2, 1e-15);
  });

  it('NIST TN 1900, example E13: coefficient of expansion of a bar', () => {
    const alpha = ([l0, l1, t0, t1]: ArrayLike<number> & Iterable<number>): number[] => [
      (l1! - l0!) / (l0! * (t1! - t0!)),
    ];
    const result = propagateUncertainty(
      (x) => alpha(x),
      [1.4999, 1.5021, 288.15, 373.1],
      diagonal([0.0001, 0.0002, 0.02, 0.05]),
    );
    near(result.values[0]!, 1.72662e-5, 5e-11);
    near(result.standardUncertainties[0]!, 1.755e-6, 1e-9);
  });

  it('numeric slopes agree with given ones; mistakes are refused', () => {
    const model = (x: ArrayLike<number>): number[] => [Math.sin(x[0]!) * x[1]!, Math.exp(x[0]!)];
    const exact = [Math.cos(0.4) * 3, Math.sin(0.4), Math.exp(0.4), 0];
    numericJacobian(model, [0.4, 3], [0.1, 0.2]).forEach((slope, i) => {
      near(slope, exact[i]!, 1e-11);
    });
    const c = [0.01, 0.003, 0.003, 0.04];
    const a = propagateUncertainty(model, [0.4, 3], c).covariance;
    propagateUncertainty(model, [0.4, 3], c, exact).covariance.forEach((value, i) => {
      near(a[i]!, value, 1e-12);
    });
    // An input without uncertainty adds nothing.
    expect([...numericJacobian(model, [0.4, 3], [0, 0])]).toEqual([0, 0, 0, 0]);
    expect(() => propagateUncertainty(model, [0.4, 3], [1, 2, 3])).toThrow(RangeError);
  });
});
