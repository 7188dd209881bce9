import { describe, expect, it } from 'vitest';
import { simplifySurface, surfaceQuality } from '../../src/fuse/index.ts';
import { buildTriangleIndex } from '../../src/geometry/index.ts';
import { flatScan, fuseNow, gridScan, posed } from './test-shapes.ts';

const bumps = gridScan({
  place: (u, v) => [(u - 0.5) * 30, (v - 0.5) * 30, 2 * Math.exp(-((u - 0.5) ** 2 + (v - 0.5) ** 2) * 40)],
  columns: 60,
  rows: 60,
  color: [10, 200, 30],
});

describe('simplified surface', () => {
  it('has far fewer triangles, within the deviation, with borders and attributes kept', async () => {
    const surface = await fuseNow([posed('bumps', bumps, 0.02)]);
    const { surface: simple, largestDeviation } = await simplifySurface(surface, 0.05);
    expect(simple.triangles.length).toBeLessThan(0.35 * surface.triangles.length);
    expect(largestDeviation).toBeLessThanOrEqual(0.05);
    // Measured again, from the outside.
    const index = buildTriangleIndex(simple.positions, simple.triangles);
    const count = surface.positions.length / 3;
    const squares = new Float32Array(count);
    index.closestPoints(surface.positions, 1, new Int32Array(count), new Float32Array(3 * count), squares);
    expect(Math.sqrt(Math.max(...squares))).toBeCloseTo(largestDeviation, 5);
    const before = surfaceQuality(surface, null);
    const after = surfaceQuality(simple, null);
    expect(after.boundaryLength).toBeCloseTo(before.boundaryLength, 4);
    expect(after.boundaryLoopCount).toBe(before.boundaryLoopCount);
    expect(after.eulerNumber).toBe(before.eulerNumber);
    expect(after.nonManifoldEdgeCount + after.pinchedVertexCount).toBe(0);
    expect(simple.sourceOffsets.length).toBe(simple.positions.length / 3 + 1);
    for (let i = 0; i < simple.sigmaNoise.length; i++) {
      expect(simple.sigmaNoise[i]).toBeCloseTo(0.02, 6);
      expect([...(simple.colors as Uint8Array).subarray(3 * i, 3 * i + 3)]).toEqual([10, 200, 30]);
    }
  });

  it('refuses a deviation that is no length', async () => {
    const surface = await fuseNow([posed('a', flatScan(10, 0, 0.5), 0.02)]);
    await expect(simplifySurface(surface, 0)).rejects.toThrow(RangeError);
  });
});
