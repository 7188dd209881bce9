import { FEATURE_LENGTH } from './feature-histogram.ts';

/** Pairs of samples that look alike, best first. */
export interface FeatureMatches {
  readonly count: number;
  readonly source: Int32Array;
  readonly target: Int32Array;
  /** Distance of the descriptors. */
  readonly distance: Float32Array;
}

/** Samples against which rarity is measured. */
const RARITY_SAMPLE = 400;

/**
 * The `limit` samples whose descriptors are rarest within their own scan: a boss rather than one place of many along an edge,
 * an edge rather than flat ground.
 *
 * Method   distance to the fifth nearest descriptor among evenly drawn samples of the scan.
 */
export function selectDistinctive(features: Float32Array, edge: Uint8Array, limit: number): Int32Array {
  const count = features.length / FEATURE_LENGTH;
  const usable: number[] = [];
  for (let i = 0; i < count; i++) {
    if (edge[i] === 1) continue;
    let sum = 0;
    for (let b = 0; b < FEATURE_LENGTH; b++) sum += features[i * FEATURE_LENGTH + b];
    if (sum > 0) usable.push(i);
  }
  const ids = Int32Array.from(usable);
  if (ids.length <= limit) return ids;
  const stride = Math.max(1, Math.floor(ids.length / RARITY_SAMPLE));
  const drawn = ids.filter((_, k) => k % stride === 0);
  const { distances } = nearestFeatures(features, ids, features, drawn, 5);
  const rarity = new Float64Array(count);
  ids.forEach((id, k) => {
    rarity[id] = distances[5 * k + 4];
  });
  return ids.sort((a, b) => rarity[b] - rarity[a] || a - b).slice(0, limit);
}

/** The `candidates` nearest descriptors of `to` for each of `from`; -1 and Infinity where there are fewer. */
function nearestFeatures(
  from: Float32Array,
  fromIds: Int32Array,
  to: Float32Array,
  toIds: Int32Array,
  candidates: number,
): { ids: Int32Array; distances: Float32Array } {
  const ids = new Int32Array(fromIds.length * candidates).fill(-1);
  const distances = new Float32Array(fromIds.length * candidates).fill(Infinity);
  const packed = new Float32Array(toIds.length * FEATURE_LENGTH);
  for (let j = 0; j < toIds.length; j++) {
    packed.set(to.subarray(toIds[j] * FEATURE_LENGTH, (toIds[j] + 1) * FEATURE_LENGTH), j * FEATURE_LENGTH);
  }
  const query = new Float64Array(FEATURE_LENGTH);
  for (let i = 0; i < fromIds.length; i++) {
    for (let b = 0; b < FEATURE_LENGTH; b++) query[b] = from[fromIds[i] * FEATURE_LENGTH + b];
    const row = i * candidates;
    let worst = Infinity;
    for (let j = 0; j < toIds.length; j++) {
      const at = j * FEATURE_LENGTH;
      let sum = 0;
      for (let start = 0; start < FEATURE_LENGTH && sum < worst; start += 11) {
        for (let b = start; b < start + 11; b++) {
          const d = query[b] - packed[at + b];
          sum += d * d;
        }
      }
      if (sum >= worst) continue;
      let place = candidates - 1;
      while (place > 0 && distances[row + place - 1] > sum) {
        distances[row + place] = distances[row + place - 1];
        ids[row + place] = ids[row + place - 1];
        place--;
      }
      distances[row + place] = sum;
      ids[row + place] = toIds[j];
      worst = distances[row + candidates - 1];
    }
  }
  return { ids, distances };
}

/**
 * Finds samples of two surfaces whose surroundings look alike, several candidates for each.
 *
 * Method   nearest descriptors from both sides; mutual ones first, then by how the distance compares with that of the
 *          best candidate on either side, so that a repeated shape does not crowd out a rare one.
 *
 * @param candidates how many partners each sample may bring
 * @param limit most pairs returned
 */
export function matchFeatures(
  source: Float32Array,
  sourceIds: Int32Array,
  target: Float32Array,
  targetIds: Int32Array,
  candidates: number,
  limit: number,
): FeatureMatches {
  const forward = nearestFeatures(source, sourceIds, target, targetIds, candidates);
  const backward = nearestFeatures(target, targetIds, source, sourceIds, candidates);
  const found = new Map<number, { s: number; t: number; distance: number; seen: number; ratio: number }>();
  const width = Math.max(1, target.length / FEATURE_LENGTH);
  const collect = (result: typeof forward, ids: Int32Array, swap: boolean): void => {
    for (let i = 0; i < ids.length; i++) {
      const worst = result.distances[(i + 1) * candidates - 1];
      for (let k = 0; k < candidates; k++) {
        const other = result.ids[i * candidates + k];
        if (other < 0) break;
        const s = swap ? other : ids[i];
        const t = swap ? ids[i] : other;
        const distance = result.distances[i * candidates + k];
        const ratio = Number.isFinite(worst) && worst > 0 ? distance / worst : 1;
        const known = found.get(s * width + t);
        if (known === undefined) found.set(s * width + t, { s, t, distance, seen: 1, ratio });
        else found.set(s * width + t, { s, t, distance, seen: 2, ratio: Math.min(ratio, known.ratio) });
      }
    }
  };
  collect(forward, sourceIds, false);
  collect(backward, targetIds, true);
  const list = [...found.values()]
    .sort((a, b) => b.seen - a.seen || a.distance - b.distance || a.s - b.s || a.t - b.t)
    .slice(0, limit);
  return {
    count: list.length,
    source: Int32Array.from(list, (m) => m.s),
    target: Int32Array.from(list, (m) => m.t),
    distance: Float32Array.from(list, (m) => Math.sqrt(m.distance)),
  };
}
