import { fitOrientedPairs, type Motion } from './coarse-motion.ts';
import type { CoarseSurface } from './coarse-surface.ts';
import type { FeatureMatches } from './feature-match.ts';

/** A pose that a set of mutually consistent matches agrees on. */
interface CliqueHypothesis {
  readonly motion: Motion;
  /** Matches in the set. */
  readonly support: number;
}

/** How far two matches may disagree and still belong to one rigid motion. */
interface ConsistencyTolerance {
  /** Difference of the distance of the two points, mm. */
  readonly distance: number;
  /** Difference of cosines of the angles among normals and connecting line. */
  readonly cosine: number;
  /** Closer pairs say nothing about the rotation, mm. */
  readonly minimumDistance: number;
}

function popCount(value: number): number {
  let v = value - ((value >>> 1) & 0x55555555);
  v = (v & 0x33333333) + ((v >>> 2) & 0x33333333);
  return Math.imul((v + (v >>> 4)) & 0x0f0f0f0f, 0x01010101) >>> 24;
}

/** Which matches can hold together under one rigid motion: a bit matrix, `words` integers a row. */
function buildGraph(
  source: CoarseSurface,
  target: CoarseSurface,
  matches: FeatureMatches,
  tolerance: ConsistencyTolerance,
): { rows: Int32Array; words: number; degree: Int32Array } {
  const m = matches.count;
  const words = Math.ceil(m / 32);
  const rows = new Int32Array(m * words);
  const degree = new Int32Array(m);
  const gather = (values: Float32Array, ids: Int32Array): Float64Array => {
    const out = new Float64Array(3 * m);
    for (let i = 0; i < m; i++) for (let k = 0; k < 3; k++) out[3 * i + k] = values[3 * ids[i] + k];
    return out;
  };
  const sp = gather(source.positions, matches.source);
  const sn = gather(source.normals, matches.source);
  const tp = gather(target.positions, matches.target);
  const tn = gather(target.normals, matches.target);
  const { distance: slack, cosine, minimumDistance } = tolerance;
  const least = minimumDistance * minimumDistance;
  for (let i = 0; i < m; i++) {
    for (let j = i + 1; j < m; j++) {
      const sx = sp[3 * j] - sp[3 * i];
      const sy = sp[3 * j + 1] - sp[3 * i + 1];
      const sz = sp[3 * j + 2] - sp[3 * i + 2];
      const s2 = sx * sx + sy * sy + sz * sz;
      if (s2 < least) continue;
      const tx = tp[3 * j] - tp[3 * i];
      const ty = tp[3 * j + 1] - tp[3 * i + 1];
      const tz = tp[3 * j + 2] - tp[3 * i + 2];
      const t2 = tx * tx + ty * ty + tz * tz;
      if (t2 < least) continue;
      const sl = Math.sqrt(s2);
      const tl = Math.sqrt(t2);
      if (Math.abs(sl - tl) > slack) continue;
      const sInner = sn[3 * i] * sn[3 * j] + sn[3 * i + 1] * sn[3 * j + 1] + sn[3 * i + 2] * sn[3 * j + 2];
      const tInner = tn[3 * i] * tn[3 * j] + tn[3 * i + 1] * tn[3 * j + 1] + tn[3 * i + 2] * tn[3 * j + 2];
      if (Math.abs(sInner - tInner) > cosine) continue;
      const sa = (sx * sn[3 * i] + sy * sn[3 * i + 1] + sz * sn[3 * i + 2]) / sl;
      const ta = (tx * tn[3 * i] + ty * tn[3 * i + 1] + tz * tn[3 * i + 2]) / tl;
      if (Math.abs(sa - ta) > cosine) continue;
      const sb = (sx * sn[3 * j] + sy * sn[3 * j + 1] + sz * sn[3 * j + 2]) / sl;
      const tb = (tx * tn[3 * j] + ty * tn[3 * j + 1] + tz * tn[3 * j + 2]) / tl;
      if (Math.abs(sb - tb) > cosine) continue;
      // The turn about the line between the points: angles alone do not tell a figure from its mirror image.
      const sTurn =
        (sx * (sn[3 * i + 1] * sn[3 * j + 2] - sn[3 * i + 2] * sn[3 * j + 1]) +
          sy * (sn[3 * i + 2] * sn[3 * j] - sn[3 * i] * sn[3 * j + 2]) +
          sz * (sn[3 * i] * sn[3 * j + 1] - sn[3 * i + 1] * sn[3 * j])) /
        sl;
      const tTurn =
        (tx * (tn[3 * i + 1] * tn[3 * j + 2] - tn[3 * i + 2] * tn[3 * j + 1]) +
          ty * (tn[3 * i + 2] * tn[3 * j] - tn[3 * i] * tn[3 * j + 2]) +
          tz * (tn[3 * i] * tn[3 * j + 1] - tn[3 * i + 1] * tn[3 * j])) /
        tl;
      if (Math.abs(sTurn - tTurn) > cosine) continue;
      rows[i * words + (j >> 5)] |= 1 << (j & 31);
      rows[j * words + (i >> 5)] |= 1 << (i & 31);
      degree[i]++;
      degree[j]++;
    }
  }
  return { rows, words, degree };
}

/**
 * Rigid motions on which many matches agree.
 *
 * Method   graph of pairwise consistent matches (distance of the points, angles of the normals), weighted by the number of
 *          common neighbours; from every match the clique is grown greedily along the heaviest edges and its members
 *          give one motion in closed form [Zhang23].
 *
 * @param limit most hypotheses returned, largest cliques first
 */
export function findConsistentMotions(
  source: CoarseSurface,
  target: CoarseSurface,
  matches: FeatureMatches,
  tolerance: ConsistencyTolerance,
  limit: number,
): CliqueHypothesis[] {
  const { rows, words, degree } = buildGraph(source, target, matches, tolerance);
  const seeds = Array.from({ length: matches.count }, (_, i) => i)
    .filter((i) => degree[i] >= 2)
    .sort((a, b) => degree[b] - degree[a] || a - b);
  const used = new Int32Array(matches.count);
  const common = new Int32Array(words);
  const cliques: { members: number[]; seed: number }[] = [];
  for (const seed of seeds.slice(0, 600)) {
    if (used[seed] >= 2) continue;
    for (let w = 0; w < words; w++) common[w] = rows[seed * words + w];
    const members = [seed];
    for (;;) {
      let best = -1;
      let bestCount = -1;
      for (let w = 0; w < words; w++) {
        for (let bits = common[w]; bits !== 0; bits &= bits - 1) {
          const c = (w << 5) + 31 - Math.clz32(bits & -bits);
          let count = 0;
          for (let v = 0; v < words; v++) if (common[v] !== 0) count += popCount(common[v] & rows[c * words + v]);
          if (count > bestCount) {
            bestCount = count;
            best = c;
          }
        }
      }
      if (best < 0) break;
      members.push(best);
      for (let w = 0; w < words; w++) common[w] &= rows[best * words + w];
    }
    if (members.length < 3) continue;
    for (const member of members) used[member]++;
    cliques.push({ members, seed });
  }
  cliques.sort((a, b) => b.members.length - a.members.length || a.seed - b.seed);
  return cliques.slice(0, limit).map(({ members }) => {
    const pairs = new Int32Array(2 * members.length);
    members.forEach((member, k) => {
      pairs[2 * k] = matches.source[member];
      pairs[2 * k + 1] = matches.target[member];
    });
    return {
      motion: fitOrientedPairs(
        source.positions,
        source.normals,
        target.positions,
        target.normals,
        pairs,
        tolerance.minimumDistance,
      ),
      support: members.length,
    };
  });
}
