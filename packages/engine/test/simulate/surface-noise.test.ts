import { type CorrelationShape, drawSurfaceNoise, makeRunContext, totalNoise } from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';

/** A square grid of places in a plane that is not parallel to an axis. */
function gridPlaces(side: number, spacing: number): Float64Array {
  const places = new Float64Array(3 * side * side);
  for (let i = 0; i < side * side; i++) {
    const u = (i % side) * spacing;
    const v = Math.floor(i / side) * spacing;
    places.set([0.8 * u, v, 0.6 * u], 3 * i);
  }
  return places;
}

/** Semivariance of values on the grid at a lag along u and v, averaged over several seeds. */
function semivariance(values: Float64Array[], side: number, lag: number): number {
  let sum = 0;
  let count = 0;
  for (const f of values) {
    for (let row = 0; row < side; row++) {
      for (let column = 0; column + lag < side; column++) {
        const i = row * side + column;
        const j = column * side + row;
        sum += (f[i] - f[i + lag]) ** 2 + (f[j] - f[j + lag * side]) ** 2;
        count += 2;
      }
    }
  }
  return sum / count / 2;
}

describe('drawSurfaceNoise', () => {
  const side = 80;
  const places = gridPlaces(side, 6);
  const draw = (white: number, sigma: number, shape: CorrelationShape): Float64Array[] =>
    Array.from({ length: 12 }, (_, k) =>
      drawSurfaceNoise(
        { white, correlated: [{ sigma, length: 30, shape }] },
        places,
        'test',
        makeRunContext({ seed: 100 + k }),
      ),
    );

  it.each([
    ['gaussian', (d: number) => Math.exp(-((d / 30) ** 2))],
    ['exponential', (d: number) => Math.exp(-d / 30)],
  ] as const)('has the variogram of a %s field with the stated length and sigma', (shape, correlation) => {
    const fields = draw(0, 0.06, shape);
    for (const lag of [1, 2, 3, 5, 8, 13]) {
      const expected = 0.06 ** 2 * (1 - correlation(6 * lag));
      // Twelve fields of about 64 patches each: the sample semivariance scatters by some percent; four such bands.
      expect(Math.abs(semivariance(fields, side, lag) / expected - 1)).toBeLessThan(0.16);
    }
  });

  it('adds the white part as a nugget', () => {
    const fields = draw(0.05, 0.06, 'gaussian');
    const nugget = semivariance(fields, side, 1) - 0.06 ** 2 * (1 - Math.exp(-((6 / 30) ** 2)));
    expect(Math.abs(Math.sqrt(nugget) / 0.05 - 1)).toBeLessThan(0.02);
    expect(totalNoise({ white: 0.03, correlated: [{ sigma: 0.04, length: 1 }] })).toBeCloseTo(0.05, 12);
  });

  it('is a normal variable at one place', () => {
    let second = 0;
    let fourth = 0;
    const count = 4000;
    for (let seed = 0; seed < count; seed++) {
      const noise = { white: 0, correlated: [{ sigma: 1, length: 10 }] };
      const value = drawSurfaceNoise(noise, new Float64Array([3, 1, 2]), 'one', makeRunContext({ seed }))[0];
      second += value ** 2 / count;
      fourth += value ** 4 / count;
    }
    // Standard errors: sqrt(2 / n) and sqrt(96 / n).
    expect(Math.abs(second - 1)).toBeLessThan(4 * Math.sqrt(2 / count));
    expect(Math.abs(fourth - 3)).toBeLessThan(4 * Math.sqrt(96 / count));
  });

  it('refuses a correlation length that is not positive', () => {
    const noise = { white: 0, correlated: [{ sigma: 1, length: 0 }] };
    expect(() => drawSurfaceNoise(noise, places, 'x', makeRunContext())).toThrow(RangeError);
  });
});
