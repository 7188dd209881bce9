import { makeRandom, pointSets } from './point-sets.ts';

export interface TestMesh {
  readonly positions: Float32Array;
  readonly triangles: Uint32Array;
}

/** Torus of n x n quads around the z axis, radii 1 and 0.3. */
export function torus(n: number): TestMesh {
  const positions: number[] = [];
  const triangles: number[] = [];
  for (let i = 0; i < n; i++) {
    for (let j = 0; j < n; j++) {
      const u = (2 * Math.PI * i) / n;
      const v = (2 * Math.PI * j) / n;
      const r = 1 + 0.3 * Math.cos(v);
      positions.push(r * Math.cos(u), r * Math.sin(u), 0.3 * Math.sin(v));
      const [a, b] = [i * n + j, ((i + 1) % n) * n + j];
      const [c, d] = [((i + 1) % n) * n + ((j + 1) % n), i * n + ((j + 1) % n)];
      triangles.push(a, b, c, a, c, d);
    }
  }
  return { positions: Float32Array.from(positions), triangles: Uint32Array.from(triangles) };
}

/** Random and degenerate meshes by name: triangles between random vertices of the degenerate point sets, and a torus. */
export function meshes(seed: number): Record<string, TestMesh> {
  const random = makeRandom(seed);
  const result: Record<string, TestMesh> = { torus: torus(14) };
  for (const [name, positions] of Object.entries(pointSets(seed))) {
    const vertices = positions.length / 3;
    const count = vertices === 0 ? 0 : Math.min(3 * vertices, 400);
    const triangles = Uint32Array.from({ length: 3 * count }, () => Math.floor(random() * vertices));
    result[name] = { positions, triangles };
  }
  return result;
}
