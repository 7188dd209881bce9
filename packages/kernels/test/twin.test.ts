import { afterAll, describe, expect, it } from 'vitest';
import { buildPointIndex, buildTriangleIndex, estimateNormals, useKernels } from '../src/index.ts';
import { meshes, torus } from './meshes.ts';
import { makeRandom, pointSets } from './point-sets.ts';

afterAll(() => useKernels('wasm'));

/** Bits, so that NaN equals NaN and -0 differs from 0. */
function bits(values: Float32Array): Uint32Array {
  return new Uint32Array(values.slice().buffer);
}

/** A cloud large enough for many chunks, batches of leaves and Z-curve ordering. */
function cloud(count: number, seed: number): Float32Array {
  const random = makeRandom(seed);
  return Float32Array.from({ length: 3 * count }, (_, i) => (i % 3 === 2 ? 0.02 : 1) * random() - 0.3);
}

const sets: Record<string, Float32Array> = { ...pointSets(21), 'many points': cloud(6000, 4) };

describe.each(Object.entries(sets))('compiled kernel and its twin: %s', (_, positions) => {
  const random = makeRandom(8);
  const count = positions.length / 3;
  const queries = Float32Array.from({ length: 3 * (count > 1000 ? 5000 : 300) }, (_, i) =>
    count === 0
      ? 0
      : positions[(3 * Math.floor(random() * count) + (i % 3)) % positions.length] * (1 + 0.01 * random()),
  );

  it('give the same normals bit for bit', () => {
    for (const k of [3, 12, 90]) {
      useKernels('reference');
      const expected = estimateNormals(positions, k);
      useKernels('wasm');
      const found = estimateNormals(positions, k);
      expect(bits(found.normals)).toEqual(bits(expected.normals));
      expect(bits(found.variation)).toEqual(bits(expected.variation));
    }
  });

  it('give the same neighbours bit for bit', () => {
    const answers = (['reference', 'wasm'] as const).map((kind) => {
      useKernels(kind);
      const index = buildPointIndex(positions);
      const n = queries.length / 3;
      const near = { index: new Int32Array(n), distance: new Float32Array(n) };
      const many = { index: new Int32Array(7 * n), distance: new Float32Array(7 * n) };
      index.nearest(queries, 0.3, near.index, near.distance);
      index.kNearest(queries, 7, many.index, many.distance);
      const ball = index.withinRadius(queries.subarray(0, 600), 0.02);
      index.dispose();
      return { near, many, ball };
    });
    expect(answers[1]).toEqual(answers[0]);
  });
});

describe.each(Object.entries({ ...meshes(13), 'fine torus': torus(90) }))(
  'compiled kernel and its twin: %s',
  (_, mesh) => {
    it('give the same closest points and hits bit for bit', () => {
      const random = makeRandom(17);
      const n = mesh.triangles.length > 5000 ? 5000 : 500;
      const queries = Float32Array.from({ length: 3 * n }, () => 3 * random() - 1.5);
      const directions = Float32Array.from({ length: 3 * n }, () => random() - 0.5);
      const answers = (['reference', 'wasm'] as const).map((kind) => {
        useKernels(kind);
        const index = buildTriangleIndex(mesh.positions, mesh.triangles);
        const closest = { triangle: new Int32Array(n), point: new Float32Array(3 * n), distance: new Float32Array(n) };
        const hits = { triangle: new Int32Array(n), distance: new Float32Array(n) };
        index.closestPoints(queries, 2, closest.triangle, closest.point, closest.distance);
        index.castRays(queries, directions, 50, hits.triangle, hits.distance);
        index.dispose();
        return { closest, hits };
      });
      expect(answers[1]).toEqual(answers[0]);
    });
  },
);
