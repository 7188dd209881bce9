import createKDTree from 'static-kdtree';
import { describe, expect, it } from 'vitest';
import {
  boundsOf,
  buildPointIndex,
  estimateNormals,
  triangleNormals,
  vertexNormals,
} from '../../src/geometry/index.ts';
import { pseudoRandom } from './pseudo-random.ts';

function points(count: number, make: (i: number, random: () => number) => readonly number[]): Float32Array {
  const random = pseudoRandom(count);
  return Float32Array.from(Array.from({ length: count }, (_, i) => make(i, random)).flat());
}

const sets: Record<string, Float32Array> = {
  'a ball': points(3000, (_, random) => [random(), random(), random()]),
  'a surface': points(3000, (_, random) => {
    const [u, v] = [6 * random(), 6 * random()];
    return [u, v, Math.sin(u) * Math.cos(v)];
  }),
  'a line': points(800, (_, random) => {
    const t = random();
    return [t, 2 * t, 3 * t];
  }),
  'one point many times': points(300, () => [1, 2, 3]),
  'a lattice': points(1000, (i) => [i % 10, Math.floor(i / 10) % 10, Math.floor(i / 100)]),
};

/** Squared distances of the answers in float64: independent of which of several equally near points is named. */
function distances(positions: Float32Array, query: readonly number[], found: readonly number[]): number[] {
  return found
    .map((i) => [0, 1, 2].reduce((sum, axis) => sum + (positions[3 * i + axis] - query[axis]) ** 2, 0))
    .sort((a, b) => a - b);
}

describe.each(Object.entries(sets))('neighbours against the library static-kdtree: %s', (_, positions) => {
  const count = positions.length / 3;
  const library = createKDTree(
    Array.from({ length: count }, (_, i) => Array.from(positions.subarray(3 * i, 3 * i + 3))),
  );
  const index = buildPointIndex(positions);
  const random = pseudoRandom(77);
  const queries = Float32Array.from({ length: 240 }, (_, i) =>
    i < 120 ? positions[(i * 31) % positions.length] : positions[(i * 31) % positions.length] + random() - 0.5,
  );

  it('the nearest, the ten nearest and the ball have the same distances', () => {
    const n = queries.length / 3;
    const near = new Int32Array(n);
    const ten = new Int32Array(10 * n);
    index.nearest(queries, Infinity, near, new Float32Array(n));
    index.kNearest(queries, 10, ten, new Float32Array(10 * n));
    const radius = 0.83;
    const ball = index.withinRadius(queries, radius);
    for (let i = 0; i < n; i++) {
      const query = Array.from(queries.subarray(3 * i, 3 * i + 3));
      const close = (found: readonly number[], expected: readonly number[]): void => {
        const a = distances(positions, query, found);
        const b = distances(positions, query, expected);
        expect(a.length).toBe(b.length);
        for (const [j, d] of a.entries()) {
          expect(Math.abs(d - b[j])).toBeLessThanOrEqual(1e-6 * Math.max(d, b[j]) + 1e-12);
        }
      };
      close([near[i]], [library.nn(query)]);
      close([...ten.subarray(10 * i, 10 * i + 10)], library.knn(query, 10));
      const expected: number[] = [];
      library.rnn(query, radius, (point) => void expected.push(point));
      // Points within float32 rounding of the sphere may fall on either side.
      const mine = new Set(ball.indices.subarray(ball.offsets[i], ball.offsets[i + 1]));
      const sure = (j: number): boolean => Math.abs(distances(positions, query, [j])[0] - radius ** 2) > 1e-5;
      expect([...mine].filter((j) => sure(j) && !expected.includes(j))).toEqual([]);
      expect(expected.filter((j) => sure(j) && !mine.has(j))).toEqual([]);
    }
  });
});

describe('normals', () => {
  it('of points on an ellipsoid are those of the surface', () => {
    const positions = points(20000, (_, random) => {
      const z = 2 * random() - 1;
      const a = 2 * Math.PI * random();
      const r = Math.sqrt(1 - z * z);
      return [3 * r * Math.cos(a), 2 * r * Math.sin(a), z];
    });
    const { normals, variation } = estimateNormals(positions, 15);
    let worst = 1;
    for (let i = 0; i < positions.length; i += 3) {
      const g = [positions[i] / 9, positions[i + 1] / 4, positions[i + 2]];
      const length = Math.hypot(...g);
      const cosine = Math.abs(g[0] * normals[i] + g[1] * normals[i + 1] + g[2] * normals[i + 2]) / length;
      worst = Math.min(worst, cosine);
    }
    expect(worst).toBeGreaterThan(Math.cos(0.12));
    expect(Math.max(...variation)).toBeLessThan(0.02);
  });

  it('of an exact plane are exact, wherever it lies', () => {
    const shift = 4096;
    const positions = points(500, (_, random) => [random() + shift, random() - shift, 7]);
    const { normals, variation } = estimateNormals(positions, 12, buildPointIndex(positions));
    for (let i = 0; i < 500; i++) {
      expect(Math.abs(normals[3 * i + 2])).toBe(1);
      expect(variation[i]).toBe(0);
    }
  });

  it('are absent where points lie on a line or are too few', () => {
    const line = points(50, (i) => [i, 2 * i, 0]);
    expect(estimateNormals(line, 10).normals.every((v) => v === 0)).toBe(true);
    expect([...estimateNormals(Float32Array.of(0, 0, 0, 1, 0, 0), 10).normals]).toEqual([0, 0, 0, 0, 0, 0]);
    expect(estimateNormals(new Float32Array(0), 5).normals.length).toBe(0);
  });

  it('refuse an index of other points', () => {
    expect(() => estimateNormals(new Float32Array(9), 3, buildPointIndex(new Float32Array(6)))).toThrow(RangeError);
  });

  it('of a triangle and of a cube corner follow the winding', () => {
    // Corner of a cube, seen from outside: the vertex normal is the diagonal, however the faces are split.
    const positions = Float32Array.of(0, 0, 0, 1, 0, 0, 1, 1, 0, 0, 1, 0, 1, 0, 1, 0, 0, 1, 0, 1, 1, 9, 9, 9);
    const triangles = Uint32Array.of(0, 3, 2, 0, 2, 1, 0, 1, 4, 0, 4, 5, 0, 5, 6, 0, 6, 3, 0, 0, 1);
    expect([...triangleNormals(positions, triangles)]).toEqual(
      [
        [0, 0, -1],
        [0, 0, -1],
        [0, -1, 0],
        [0, -1, 0],
        [-1, 0, 0],
        [-1, 0, 0],
        [0, 0, 0],
      ].flat(),
    );
    const normals = vertexNormals(positions, triangles);
    for (let axis = 0; axis < 3; axis++) expect(normals[axis]).toBeCloseTo(-1 / Math.sqrt(3), 6);
    expect([...normals.subarray(21)]).toEqual([0, 0, 0]);
  });
});

describe('bounds', () => {
  it('enclose the finite points and are absent without any', () => {
    const positions = Float32Array.of(1, 2, 3, -1, 5, 0, Number.NaN, 100, 0);
    expect(boundsOf(positions)).toEqual({ low: [-1, 2, 0], high: [1, 5, 3] });
    expect(boundsOf(Float32Array.of(Number.NaN, 0, 0))).toBeNull();
    expect(boundsOf(new Float64Array(0))).toBeNull();
  });
});
