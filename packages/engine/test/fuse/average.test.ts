import { describe, expect, it } from 'vitest';
import { allVertices, flatScan, fuseNow, gridScan, posed, withNoise } from './test-shapes.ts';

describe('average of signed distances', () => {
  it('puts planes at 1.0 (weight 1) and 1.1 (weight 3) at 1.075 [Curless & Levoy 1996, hand solution]', async () => {
    const surface = await fuseNow(
      [
        posed('a', flatScan(12, 1.0, 0.5), 0.1),
        // Weight is 1/sigma^2.
        posed('b', flatScan(12, 1.1, 0.5), 0.1 / Math.sqrt(3)),
      ],
      { resolution: 0.5 },
    );
    const heights = allVertices(surface).map((vertex) => vertex[2]);
    expect(heights.length).toBeGreaterThan(500);
    for (const height of heights) expect(height).toBeCloseTo(1.075, 5);
  });

  it('states sigma and shares that belong to those weights', async () => {
    const scans = [posed('a', flatScan(12, 1, 0.5), 0.1), posed('b', flatScan(12, 1, 0.5), 0.1 / Math.sqrt(3))];
    const surface = await fuseNow(scans, { resolution: 0.5 });
    const middle = surface.sigmaNoise.length >> 1;
    // Shares 1/4 and 3/4: sqrt((0.1/4)^2 + (0.75 0.1/sqrt 3)^2) = 0.05.
    expect(surface.sigmaNoise[middle]).toBeCloseTo(0.05, 4);
    const from = surface.sourceOffsets[middle];
    expect(surface.scanIds[surface.sourceScans[from]]).toBe('b');
    expect(surface.sourceShares[from]).toBe(Math.round(255 * 0.75));
    expect(surface.sourceShares[from + 1]).toBe(Math.round(255 * 0.25));
    expect(surface.scanIds[surface.dominantSource[middle]]).toBe('b');
  });

  it('carries the uncertainty of the placement apart from the noise', async () => {
    const surface = await fuseNow([
      { ...posed('a', flatScan(12, 0, 0.5), 0.02), sigmaPose: ([x]: readonly number[]) => 0.1 + 0.01 * (x as number) },
    ]);
    allVertices(surface).forEach(([x], i) => {
      expect(surface.sigmaNoise[i]).toBeCloseTo(0.02, 5);
      expect(surface.sigmaAlignment[i]).toBeCloseTo(0.1 + 0.01 * x, 2);
    });
  });

  it('lets the better scan win and leaves no step at the seam', async () => {
    const strip = (low: number, high: number, height: number) =>
      gridScan({
        place: (u, v) => [low + (high - low) * u, (v - 0.5) * 24, height],
        columns: Math.round((high - low) * 2),
        rows: 48,
      });
    const step = 0.3;
    const surface = await fuseNow([
      posed('good', withNoise(strip(-30, 8, 0), 0.02, 'good'), 0.02),
      posed('poor', withNoise(strip(-8, 30, step), 0.1, 'poor'), 0.1),
    ]);
    const inside = allVertices(surface).filter(([, y]) => Math.abs(y) < 8);
    const meanHeight = (low: number, high: number): number => {
      const heights = inside.filter(([x]) => x >= low && x < high).map(([, , z]) => z);
      return heights.reduce((sum, z) => sum + z, 0) / heights.length;
    };
    expect(Math.abs(meanHeight(-25, -10))).toBeLessThan(0.01);
    expect(Math.abs(meanHeight(-5, 3))).toBeLessThan(0.1 * step);
    expect(Math.abs(meanHeight(12, 25) - step)).toBeLessThan(0.02);
    for (let x = -12; x < 12; x++)
      expect(Math.abs(meanHeight(x + 1, x + 2) - meanHeight(x, x + 1))).toBeLessThan(0.5 * step);
  });
});
