import { describe, expect, it } from 'vitest';
import { buildPointIndex, useKernels } from '../src/index.ts';
import { sortedNeighbours } from './brute-force.ts';
import { pointSets, queriesFor } from './point-sets.ts';

const cases = (['reference', 'wasm'] as const).flatMap((kind) =>
  Object.entries(pointSets(1)).map(([name, positions]) => ({ kind, name, positions })),
);

describe.each(cases)('$kind: neighbours among points: $name', ({ kind, positions }) => {
  useKernels(kind);
  const index = buildPointIndex(positions);
  const queries = queriesFor(positions, 2);
  const count = queries.length / 3;

  it.each([1, 5, 20])('finds the same %i nearest as an exhaustive search', (k) => {
    const indices = new Int32Array(count * k);
    const distances = new Float32Array(count * k);
    index.kNearest(queries, k, indices, distances);
    for (let i = 0; i < count; i++) {
      const expected = sortedNeighbours(queries, i, positions).slice(0, k);
      while (expected.length < k) expected.push([Infinity, -1]);
      expect([...indices.subarray(i * k, i * k + k)]).toEqual(expected.map((pair) => pair[1]));
      expect([...distances.subarray(i * k, i * k + k)]).toEqual(expected.map((pair) => pair[0]));
    }
  });

  it('finds the same nearest and the same ball as an exhaustive search', () => {
    const indices = new Int32Array(count);
    const distances = new Float32Array(count);
    index.nearest(queries, Infinity, indices, distances);
    const median = [...distances].filter((d) => d > 0 && d < 1e30).sort((a, b) => a - b);
    for (const radius of [0, Math.sqrt(median[median.length >> 1] ?? 1), 1.1]) {
      const limit = Math.fround(radius * radius);
      index.nearest(queries, radius, indices, distances);
      const ball = index.withinRadius(queries, radius);
      expect(ball.offsets.length).toBe(count + 1);
      for (let i = 0; i < count; i++) {
        const inside = sortedNeighbours(queries, i, positions).filter((pair) => pair[0] <= limit);
        expect([indices[i], distances[i]]).toEqual(inside.length > 0 ? [inside[0][1], inside[0][0]] : [-1, Infinity]);
        const found = [...ball.indices.subarray(ball.offsets[i], ball.offsets[i + 1])];
        expect(found).toEqual(inside.map((pair) => pair[1]).sort((a, b) => a - b));
      }
    }
  });
});

describe('misuse of a point index', () => {
  const index = buildPointIndex(Float32Array.of(0, 0, 0));
  it('is refused', () => {
    const one = new Int32Array(1);
    const distance = new Float32Array(1);
    expect(() => buildPointIndex(new Float32Array(4))).toThrow(RangeError);
    expect(() => index.nearest(new Float32Array(6), 1, one, distance)).toThrow(RangeError);
    expect(() => index.nearest(new Float32Array(3), -1, one, distance)).toThrow(RangeError);
    expect(() => index.nearest(new Float32Array(3), Number.NaN, one, distance)).toThrow(RangeError);
    expect(() => index.kNearest(new Float32Array(3), 0, one, distance)).toThrow(RangeError);
    expect(() => index.kNearest(new Float32Array(3), 1.5, one, distance)).toThrow(RangeError);
    expect(() => index.withinRadius(new Float32Array(2), 1)).toThrow(RangeError);
  });
});
