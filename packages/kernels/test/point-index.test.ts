import { describe, expect, it } from 'vitest';
import { buildPointIndex, useKernels } from '../src/index.ts';
import { kernelInstance } from '../src/kernels.ts';
import { sortedNeighbours } from './brute-force.ts';
import { makeRandom, pointSets, queriesFor } from './point-sets.ts';

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

/** Fills memory that the next calls will get with ones: what a kernel reads without having written it then shows. */
function poisonFreeMemory(): void {
  const instance = kernelInstance();
  const block = instance.take(2 ** 17);
  instance.uint32(block.start, block.size / 4).fill(0xffffffff);
  instance.give(block);
}

describe.each(['reference', 'wasm'] as const)('%s: a first search without any bound', (kind) => {
  it('agrees with an exhaustive search for every size of set and number of neighbours', () => {
    useKernels(kind);
    const random = makeRandom(12);
    for (let count = 1; count <= 330; count += 1 + (count >> 3)) {
      const positions = Float32Array.from({ length: 3 * count }, () => Math.round(random() * 40) / 8);
      // A point that is no number makes the tree smaller than the set.
      positions[3 * (count >> 1)] = Number.NaN;
      const index = buildPointIndex(positions);
      for (let k = 1; k < 200; k += 1 + (k >> 2)) {
        const query = Float32Array.from({ length: 3 }, () => 5 * random());
        if (kind === 'wasm') poisonFreeMemory();
        const found = new Int32Array(k);
        const distances = new Float32Array(k);
        index.kNearest(query, k, found, distances);
        const expected = sortedNeighbours(query, 0, positions).slice(0, k);
        while (expected.length < k) expected.push([Infinity, -1]);
        expect([...found]).toEqual(expected.map((pair) => pair[1]));
        expect([...distances]).toEqual(expected.map((pair) => pair[0]));
      }
      index.dispose();
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
