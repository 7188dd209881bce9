/** Repeatable numbers in [0, 1): mulberry32. */
export function makeRandom(seed: number): () => number {
  let state = seed >>> 0;
  return () => {
    state = (state + 0x6d2b79f5) >>> 0;
    let t = state;
    t = Math.imul(t ^ (t >>> 15), t | 1);
    t ^= t + Math.imul(t ^ (t >>> 7), t | 61);
    return ((t ^ (t >>> 14)) >>> 0) / 4294967296;
  };
}

function points(count: number, make: (i: number) => readonly number[]): Float32Array {
  return Float32Array.from(Array.from({ length: count }, (_, i) => make(i)).flat());
}

/** Random and degenerate point sets by name. */
export function pointSets(seed: number): Record<string, Float32Array> {
  const random = makeRandom(seed);
  return {
    empty: new Float32Array(0),
    one: points(1, () => [1, 2, 3]),
    two: points(2, (i) => [i, 0, 0]),
    nine: points(9, () => [random(), random(), random()]),
    uniform: points(700, () => [random(), random(), random()]),
    'all equal': points(300, () => [0.1, 0.2, 0.3]),
    collinear: points(300, () => {
      const t = random();
      return [t, 2 * t, -t];
    }),
    coplanar: points(400, () => [random(), random(), 0]),
    grid: points(343, (i) => [i % 7, Math.floor(i / 7) % 7, Math.floor(i / 49)]),
    clusters: points(500, (i) => [10 * (i % 3) + 1e-3 * random(), 1e-3 * random(), 1e-3 * random()]),
    'far from the origin': points(400, () => [1e6 + random(), -1e6 + random(), random()]),
    huge: points(300, () => [1e15 * random(), 1e15 * random(), 1e15 * random()]),
    tiny: points(300, () => [1e-15 * random(), 1e-15 * random(), 1e-15 * random()]),
    'with holes': points(200, (i) => (i % 5 === 0 ? [Number.NaN, 0, 0] : [random(), i % 7 === 0 ? Infinity : 0.5, 1])),
  };
}

/** Queries near, on and far from a set, and some that are no numbers. */
export function queriesFor(positions: Float32Array, seed: number): Float32Array {
  const random = makeRandom(seed);
  const queries: number[] = [0, 0, 0, Number.NaN, 0, 0, 0, Infinity, 0, 1e20, 1e20, 1e20];
  const count = positions.length / 3;
  for (let i = 0; i < Math.min(count, 40); i++) {
    const at = 3 * Math.floor(random() * count);
    const size = Math.abs(positions[at]) + 1e-20;
    queries.push(positions[at], positions[at + 1], positions[at + 2]);
    for (let axis = 0; axis < 3; axis++) queries.push(positions[at + axis] + size * 0.3 * (random() - 0.5));
  }
  return Float32Array.from(queries);
}
