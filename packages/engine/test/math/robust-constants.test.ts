import { ADJUST_NETWORK_DEFAULTS, chiSquareTail, normalQuantile } from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';
import { MAD_FACTOR, TUKEY_CONSTANT, tukeyWeight } from '../../src/register/robust-scale.ts';

function near(actual: number, expected: number, tolerance: number): void {
  expect(Math.abs(actual - expected), `${actual} is not ${expected}`).toBeLessThanOrEqual(tolerance);
}

/** Integral over the standard normal density: Simpson's rule, with the places where the integrand has a corner as ends. */
function expectation(f: (t: number) => number, corner: number): number {
  let sum = 0;
  for (const [from, to] of [
    [0, Math.min(corner, 12)],
    [Math.min(corner, 12), 12],
  ] as const) {
    const n = 4000;
    const h = (to - from) / n;
    for (let i = 0; i <= n; i++) {
      const t = Math.min(to - 1e-13, Math.max(from + 1e-13, from + i * h));
      const weight = i === 0 || i === n ? 1 : i % 2 === 1 ? 4 : 2;
      sum += (weight * h * f(t) * Math.exp((-t * t) / 2)) / 3;
    }
  }
  return 2 * sum * Math.sqrt(1 / (2 * Math.PI));
}

/** Efficiency of an M-estimate of location under normal errors: (E psi')^2 / E psi^2, with E psi' = E t psi by parts. */
function efficiency(weight: (t: number) => number, corner: number): number {
  const slope = expectation((t) => t * t * weight(t), corner);
  const square = expectation((t) => (t * weight(t)) ** 2, corner);
  return (slope * slope) / square;
}

describe('robust constants for 95 % efficiency under normal errors (Holland & Welsch 1977)', () => {
  const WEIGHTS: Record<string, { c: number; weight: (t: number, c: number) => number; corner?: boolean }> = {
    Huber: { c: 1.344998, weight: (t, c) => (t <= c ? 1 : c / t), corner: true },
    Tukey: { c: 4.685065, weight: (t, c) => (t < c ? (1 - (t / c) ** 2) ** 2 : 0), corner: true },
    Cauchy: { c: 2.384947, weight: (t, c) => 1 / (1 + (t / c) ** 2) },
    Welsch: { c: 2.984637, weight: (t, c) => Math.exp(-((t / c) ** 2)) },
    Fair: { c: 1.399777, weight: (t, c) => 1 / (1 + t / c) },
    logistic: { c: 1.204707, weight: (t, c) => Math.tanh(t / c) / (t / c) },
    Andrews: {
      c: 1.338711,
      weight: (t, c) => (t < Math.PI * c ? Math.sin(t / c) / (t / c) : 0),
      corner: true,
    },
    'Geman-McClure': { c: 3.787419, weight: (t, c) => 1 / (1 + (t / c) ** 2) ** 2 },
  };

  it('published constants give 95 %', () => {
    for (const [name, { c, weight, corner }] of Object.entries(WEIGHTS)) {
      const end = corner ? (name === 'Andrews' ? Math.PI * c : c) : 12;
      near(
        efficiency((t) => weight(t, c), end),
        0.95,
        2e-7,
      );
    }
  });

  it('those that the engine uses: Tukey in registration, with its scale from the median', () => {
    near(
      efficiency((t) => tukeyWeight(t, TUKEY_CONSTANT), TUKEY_CONSTANT),
      0.95,
      2e-7,
    );
    near(MAD_FACTOR, 1 / normalQuantile(0.25), 5e-10);
    near(1 / MAD_FACTOR, 0.67448975, 5e-9);
    near(1 / (2 * normalQuantile(0.25)), 0.741301109, 5e-10);
  });

  it('Huber on three-dimensional lengths in the adjustment: limit and efficiency', () => {
    const limit = ADJUST_NETWORK_DEFAULTS.huberLimit;
    near(chiSquareTail(limit * limit, 3), 0.1, 0.001);
    // Lengths of three-dimensional normal errors: density t^2; E psi' = E t psi / 3, E psi^2 / 3 in each coordinate.
    const weight = (t: number): number => (t <= limit ? 1 : limit / t);
    const slope = expectation((t) => t ** 4 * weight(t), limit) / 3;
    const square = expectation((t) => t ** 4 * weight(t) ** 2, limit) / 3;
    const found = (slope * slope) / square;
    expect(found).toBeGreaterThan(0.95);
    expect(found).toBeLessThan(1);
  });
});
