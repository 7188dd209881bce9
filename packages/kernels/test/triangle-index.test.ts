import { describe, expect, it } from 'vitest';
import { buildTriangleIndex, closestPointToOrigin, useKernels } from '../src/index.ts';
import { rayDistance } from '../src/reference/ray-triangle.ts';
import { meshes } from './meshes.ts';
import { makeRandom, queriesFor } from './point-sets.ts';

type Mesh = { positions: Float32Array; triangles: Uint32Array };

function corners({ positions, triangles }: Mesh, t: number, from: ArrayLike<number>): number[] {
  const out: number[] = [];
  for (let c = 0; c < 3; c++) {
    for (let axis = 0; axis < 3; axis++) out.push(positions[3 * triangles[3 * t + c] + axis] - from[axis]);
  }
  return out;
}

const cases = (['reference', 'wasm'] as const).flatMap((kind) =>
  Object.entries(meshes(3)).map(([name, mesh]) => ({ kind, name, mesh })),
);

describe.each(cases)('$kind: triangles: $name', ({ kind, mesh }) => {
  useKernels(kind);
  const index = buildTriangleIndex(mesh.positions, mesh.triangles);
  const triangleCount = mesh.triangles.length / 3;
  const queries = queriesFor(mesh.positions, 5);
  const count = queries.length / 3;

  it('gives the same closest points as an exhaustive search', () => {
    const out = new Float64Array(4);
    const triangle = new Int32Array(count);
    const point = new Float32Array(3 * count);
    const distance = new Float32Array(count);
    for (const limit of [Infinity, 0.2]) {
      index.closestPoints(queries, limit, triangle, point, distance);
      for (let i = 0; i < count; i++) {
        const q = queries.subarray(3 * i, 3 * i + 3);
        let best = -1;
        let bestDistance = Math.min(limit * limit, 3.4028234663852886e38);
        let at = [Number.NaN, Number.NaN, Number.NaN];
        for (let t = 0; t < triangleCount && q.every(Number.isFinite); t++) {
          const relative = corners(mesh, t, q);
          if (!relative.every(Number.isFinite)) continue;
          closestPointToOrigin(
            ...(relative as Parameters<typeof closestPointToOrigin> extends [...infer N, Float64Array] ? N : never),
            out,
          );
          if (out[3] < bestDistance || (out[3] === bestDistance && best < 0)) {
            best = t;
            bestDistance = out[3];
            at = [out[0] + q[0], out[1] + q[1], out[2] + q[2]].map(Math.fround);
          }
        }
        expect([triangle[i], ...point.subarray(3 * i, 3 * i + 3)]).toEqual([best, ...at]);
        expect(distance[i]).toBe(best < 0 ? Infinity : Math.fround(bestDistance));
      }
    }
  });

  it('gives the same first hits as an exhaustive search', () => {
    const random = makeRandom(9);
    const directions = Float32Array.from(queries, () => random() - 0.5);
    for (let i = 12; i < directions.length; i += 21) directions.set([0, 0, 1], i - (i % 3));
    const triangle = new Int32Array(count);
    const distance = new Float32Array(count);
    for (const limit of [Infinity, 1]) {
      index.castRays(queries, directions, limit, triangle, distance);
      for (let i = 0; i < count; i++) {
        const q = queries.subarray(3 * i, 3 * i + 3);
        const d = directions.subarray(3 * i, 3 * i + 3);
        let best = -1;
        let bestDistance = Infinity;
        for (let t = 0; t < triangleCount && q.every(Number.isFinite); t++) {
          const relative = corners(mesh, t, q);
          if (!relative.every(Number.isFinite)) continue;
          const hit = rayDistance(...([...relative, ...d] as Parameters<typeof rayDistance>));
          if (hit <= limit && hit < bestDistance) {
            best = t;
            bestDistance = hit;
          }
        }
        expect([triangle[i], distance[i]]).toEqual([best, Math.fround(bestDistance)]);
      }
    }
  });
});

describe('misuse of a triangle index', () => {
  it('is refused', () => {
    expect(() => buildTriangleIndex(new Float32Array(9), Uint32Array.of(0, 1, 3))).toThrow(RangeError);
    expect(() => buildTriangleIndex(new Float32Array(8), Uint32Array.of(0, 1, 2))).toThrow(RangeError);
    expect(() => buildTriangleIndex(new Float32Array(9), Uint32Array.of(0, 1))).toThrow(RangeError);
  });
});
