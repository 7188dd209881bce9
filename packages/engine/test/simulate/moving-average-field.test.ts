import { describe, expect, it } from 'vitest';
import { makeRandom } from '../../src/base/index.ts';
import { makeMovingAverageField } from '../../src/simulate/index.ts';

/** Mean products of field values at pairs of places some distance apart, over many fields. */
function correlation(length: number, distance: number, count: number): { variance: number; covariance: number } {
  const places = new Float64Array([0.3, 0.1, 0.7, 0.3 + distance * 0.6, 0.1 - distance * 0.8, 0.7]);
  let variance = 0;
  let covariance = 0;
  for (let k = 0; k < count; k++) {
    const values = new Float64Array(2);
    makeMovingAverageField(2, length, makeRandom(k, 'field')).addTo(places, values);
    variance += (values[0] ** 2 + values[1] ** 2) / (2 * count);
    covariance += (values[0] * values[1]) / count;
  }
  return { variance, covariance };
}

describe('makeMovingAverageField', () => {
  it('has the covariance sigma^2 exp(-d^2 / length^2)', () => {
    for (const [length, distance] of [
      [30, 10],
      [30, 30],
      [150, 200],
      [5, 4],
    ] as const) {
      const { variance, covariance } = correlation(length, distance, 6000);
      // Standard deviation of a mean of 6000 products of normal numbers: some 2 % of the variance.
      expect(variance / 4).toBeGreaterThan(0.94);
      expect(variance / 4).toBeLessThan(1.06);
      expect(Math.abs(covariance / 4 - Math.exp(-((distance / length) ** 2)))).toBeLessThan(0.06);
    }
  });

  it('does not repeat itself on the other side of the origin', () => {
    const places = new Float64Array([40, 60, 90, -40, -60, 90, 40, -60, -90, -40, 60, -90]);
    const products = new Float64Array(4);
    for (let k = 0; k < 4000; k++) {
      const values = new Float64Array(4);
      makeMovingAverageField(1, 30, makeRandom(k, 'far')).addTo(places, values);
      for (let i = 0; i < 4; i++) products[i] += (values[0] * values[i]) / 4000;
    }
    for (let i = 1; i < 4; i++) expect(Math.abs(products[i])).toBeLessThan(0.07);
  });

  it('is normal in its mean over a region far larger than its length', () => {
    // Kurtosis 3 of a normal number; of 4000 values uncertain by 0.08.
    const places = Float64Array.from({ length: 300 }, (_, i) => (i % 3 === 0 ? i / 3 : 0));
    let second = 0;
    let fourth = 0;
    for (let k = 0; k < 4000; k++) {
      const values = new Float64Array(100);
      makeMovingAverageField(1, 5, makeRandom(k, 'mean')).addTo(places, values);
      const sum = values.reduce((a, b) => a + b, 0);
      second += sum ** 2 / 4000;
      fourth += sum ** 4 / 4000;
    }
    expect(Math.abs(fourth / second ** 2 - 3)).toBeLessThan(0.35);
    // Variance of the mean along a line: sigma^2 length sqrt(pi) / extent, less what the ends take away.
    expect(second / 100 ** 2 / ((5 * Math.sqrt(Math.PI)) / 100)).toBeGreaterThan(0.88);
    expect(second / 100 ** 2 / ((5 * Math.sqrt(Math.PI)) / 100)).toBeLessThan(1.08);
  });

  it('refuses what is no length', () => {
    expect(() => makeMovingAverageField(1, 0, makeRandom(1, 'x'))).toThrow(RangeError);
    expect(() => makeMovingAverageField(-1, 5, makeRandom(1, 'x'))).toThrow(RangeError);
  });
});
