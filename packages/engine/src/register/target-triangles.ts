import type { RunContext } from '../base/index.ts';
import type { TargetCloud } from './target-cloud.ts';

/** Three targets of one list and the three of the other that have the same mutual distances. */
export interface TargetSeed {
  readonly query: readonly [number, number, number];
  readonly reference: readonly [number, number, number];
  /** Smallest height of the triangle, mm: how well it holds a pose. */
  readonly height: number;
}

/** Lists up to this length are searched by all their triangles: 50 targets have 19 600. */
const ALL_TRIANGLES_UP_TO = 50;
/** In longer lists: triangles with close neighbours (21 a target) and with far ones (20 a target). */
const CLOSE_NEIGHBOURS = 7;
const FAR_TRIANGLES = 20;
/** A triangle that fits at more places than this says nothing about where it belongs. */
const LARGEST_MATCH_COUNT = 64;
const LARGEST_SEED_COUNT = 300_000;
/** Differences of distances are compared at four standard deviations: one true side in 16 000 is lost. */
export const DISTANCE_GATE = 4;
/** The height of a triangle in standard deviations below which its pose would be too loose: 0.1 rad. */
const LEAST_HEIGHT_IN_SIGMA = 12;

/** Smallest height of the triangle of three targets, mm. */
function triangleHeight(cloud: TargetCloud, i: number, j: number, k: number): number {
  const n = cloud.count;
  const [a, b, c] = [cloud.distances[i * n + j], cloud.distances[j * n + k], cloud.distances[k * n + i]];
  const p = cloud.points;
  const [ux, uy, uz] = [p[3 * j] - p[3 * i], p[3 * j + 1] - p[3 * i + 1], p[3 * j + 2] - p[3 * i + 2]];
  const [vx, vy, vz] = [p[3 * k] - p[3 * i], p[3 * k + 1] - p[3 * i + 1], p[3 * k + 2] - p[3 * i + 2]];
  const area2 = Math.hypot(uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx);
  const longest = Math.max(a, b, c);
  return longest > 0 ? area2 / longest : 0;
}

/** Triangles of the query list to look for: all of a short list, close and far ones of a long list; same for any input order. */
function chooseTriangles(cloud: TargetCloud): [number, number, number][] {
  const n = cloud.count;
  const chosen: [number, number, number][] = [];
  if (n <= ALL_TRIANGLES_UP_TO) {
    for (let i = 0; i < n; i++) for (let j = i + 1; j < n; j++) for (let k = j + 1; k < n; k++) chosen.push([i, j, k]);
    return chosen;
  }
  const seen = new Set<number>();
  const take = (a: number, b: number, c: number): void => {
    if (a === b || b === c || a === c) return;
    const [i, j, k] = [a, b, c].sort((x, y) => x - y) as [number, number, number];
    const key = (i * n + j) * n + k;
    if (seen.has(key)) return;
    seen.add(key);
    chosen.push([i, j, k]);
  };
  // A fixed sequence (Lehmer 1951, multiplier 48271) spreads the far triangles; it needs no seed of the job.
  let state = 1;
  const draw = (limit: number): number => {
    state = (state * 48271) % 2147483647;
    return state % limit;
  };
  for (let i = 0; i < n; i++) {
    const row = i * (n - 1);
    for (let a = 0; a < CLOSE_NEIGHBOURS; a++) {
      for (let b = a + 1; b < CLOSE_NEIGHBOURS; b++) take(i, cloud.neighbours[row + a], cloud.neighbours[row + b]);
    }
    for (let far = 0; far < FAR_TRIANGLES; far++) take(i, draw(n), draw(n));
  }
  return chosen;
}

/**
 * Finds, for triangles of one target list, the triangles of the other with the same sides.
 *
 * Method   the pairs of the reference list sorted by distance; for each query triangle the pairs as long as its longest
 *          side, and for each of them the third corner among the neighbours at the right distance.
 * Cost     1000 against 1000 targets: about a second.
 */
export async function findTargetSeeds(
  query: TargetCloud,
  reference: TargetCloud,
  context: RunContext,
): Promise<TargetSeed[]> {
  const m = reference.count;
  const pairCount = (m * (m - 1)) / 2;
  const pairs = new Uint32Array(pairCount);
  for (let i = 0, k = 0; i < m; i++) for (let j = 0; j < i; j++) pairs[k++] = i * m + j;
  pairs.sort((a, b) => reference.distances[a] - reference.distances[b] || a - b);
  const firstAtLeast = (value: number): number => {
    let [low, high] = [0, pairCount];
    while (low < high) {
      const middle = (low + high) >> 1;
      if (reference.distances[pairs[middle]] < value) low = middle + 1;
      else high = middle;
    }
    return low;
  };
  const firstNeighbour = (row: number, value: number): number => {
    let [low, high] = [0, m - 1];
    while (low < high) {
      const middle = (low + high) >> 1;
      if (reference.distances[row * m + reference.neighbours[row * (m - 1) + middle]] < value) low = middle + 1;
      else high = middle;
    }
    return low;
  };
  const variance = (cloud: TargetCloud, i: number): number => cloud.sigma[i] * cloud.sigma[i];
  const seeds: TargetSeed[] = [];
  const triangles = chooseTriangles(query);
  const n = query.count;
  for (let t = 0; t < triangles.length && seeds.length < LARGEST_SEED_COUNT; t++) {
    if (t % 256 === 0) await context.checkpoint(t / triangles.length);
    // Put the longest side first: corners u, v on it, w opposite.
    let [u, v, w] = triangles[t] as [number, number, number];
    if (query.distances[v * n + w] > query.distances[u * n + v]) [u, v, w] = [v, w, u];
    if (query.distances[w * n + u] > query.distances[u * n + v]) [u, v, w] = [w, u, v];
    const height = triangleHeight(query, u, v, w);
    const ownVariance = Math.max(variance(query, u), variance(query, v), variance(query, w));
    if (height < LEAST_HEIGHT_IN_SIGMA * Math.sqrt(ownVariance)) continue;
    const [uv, vw, wu] = [query.distances[u * n + v], query.distances[v * n + w], query.distances[w * n + u]];
    const loosest = DISTANCE_GATE * Math.SQRT2 * Math.sqrt(ownVariance + reference.largestSigma ** 2);
    const fits = (mine: number, i: number, j: number, p: number, q: number): boolean => {
      const gate =
        DISTANCE_GATE *
        Math.sqrt(variance(query, i) + variance(query, j) + variance(reference, p) + variance(reference, q));
      return Math.abs(mine - reference.distances[p * m + q]) <= gate;
    };
    const before = seeds.length;
    for (let s = firstAtLeast(uv - loosest); s < pairCount; s++) {
      const pair = pairs[s];
      if (reference.distances[pair] > uv + loosest || seeds.length - before >= LARGEST_MATCH_COUNT) break;
      const ends = [Math.floor(pair / m), pair % m] as const;
      for (let side = 0; side < 2; side++) {
        const p = ends[side] as number;
        const q = ends[1 - side] as number;
        if (!fits(uv, u, v, p, q)) continue;
        for (let k = firstNeighbour(p, wu - loosest); k < m - 1; k++) {
          const r = reference.neighbours[p * (m - 1) + k];
          if (reference.distances[p * m + r] > wu + loosest) break;
          if (r === q || !fits(wu, w, u, r, p) || !fits(vw, v, w, q, r)) continue;
          seeds.push({ query: [u, v, w], reference: [p, q, r], height });
        }
      }
    }
  }
  return seeds;
}
