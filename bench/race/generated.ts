/** Repeatable numbers in [0, 1): mulberry32. */
export function seededRandom(seed: number): () => number {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = state;
    t = Math.imul(t ^ (t >>> 15), t | 1);
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61);
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
}

/** A mesh of flat arrays. */
export interface GeneratedMesh {
  readonly positions: Float32Array;
  readonly triangles: Uint32Array;
}

/** A bumpy closed ring about 3 m across, 2 n^2 triangles, mm. */
export function bumpyRing(n: number): GeneratedMesh {
  const positions = new Float32Array(3 * n * n);
  const triangles = new Uint32Array(6 * n * n);
  for (let i = 0, v = 0, t = 0; i < n; i++) {
    for (let j = 0; j < n; j++, v += 3, t += 6) {
      const [a, b] = [(2 * Math.PI * i) / n, (2 * Math.PI * j) / n];
      const r = 500 + 20 * Math.sin(9 * a) * Math.cos(5 * b);
      positions[v] = (1100 + r * Math.cos(b)) * Math.cos(a);
      positions[v + 1] = (1100 + r * Math.cos(b)) * Math.sin(a);
      positions[v + 2] = r * Math.sin(b);
      const [k, l] = [((i + 1) % n) * n, (j + 1) % n];
      triangles.set([i * n + j, k + j, k + l, i * n + j, k + l, i * n + l], t);
    }
  }
  return { positions, triangles };
}

/** Points of a mesh's vertices with noise, in random order. */
export function shuffledPoints(mesh: GeneratedMesh, noise: number, seed: number): Float32Array {
  const random = seededRandom(seed);
  const points = mesh.positions.map((value) => value + noise * (random() + random() + random() - 1.5));
  for (let i = points.length / 3 - 1; i > 0; i--) {
    const j = Math.floor(random() * (i + 1));
    for (let axis = 0; axis < 3; axis++) {
      const swap = points[3 * i + axis]!;
      points[3 * i + axis] = points[3 * j + axis]!;
      points[3 * j + axis] = swap;
    }
  }
  return points;
}
