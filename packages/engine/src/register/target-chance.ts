import { symmetricEigen } from '../math/index.ts';
import type { TargetCloud } from './target-cloud.ts';
import { TARGET_GATE } from './target-growth.ts';
import { DISTANCE_GATE } from './target-triangles.ts';

/** Distances of a layout by hand that are meant to be equal are so to about this share of its size. */
const PATTERN_TOLERANCE = 0.01;

/**
 * Expected number of sets of `matched` common targets that two unrelated lists of this size, extent and regularity would show.
 *
 * Method   number of triangles compared, times the chance that three sides agree, times the binomial chance that further
 *          targets meet a target of the other list (a-contrario reasoning, Desolneux, Moisan & Morel 2000). In a regular layout
 *          distances repeat: how often they do within each list replaces the chance of random places.
 */
export function expectedFalseMatches(
  query: TargetCloud,
  reference: TargetCloud,
  matched: number,
  equalNames: number,
): number {
  const [n, m] = [query.count, reference.count];
  const sigma = Math.hypot(query.largestSigma, reference.largestSigma);
  const spread = rmsSpread(reference);
  const gate = DISTANCE_GATE * Math.SQRT2 * sigma;
  // Distances in a cloud of rms radius r lie within about 2.5 r.
  const randomSide = Math.min(1, (2 * gate) / (2.5 * Math.hypot(...spread)));
  const repeated = Math.max(repeatedShare(query, gate), repeatedShare(reference, gate));
  // Three targets alone have nobody to contradict them: there a pattern counts already when it repeats to a hundredth of its
  // size, because people lay patterns out by hand.
  const wide = Math.max(gate, PATTERN_TOLERANCE * Math.hypot(...spread));
  const pattern = Math.max(repeatedShare(query, wide), repeatedShare(reference, wide));
  const hasPattern = matched === 3 && pattern > (3 * randomSide * wide) / gate;
  const side = Math.max(randomSide, repeated, hasPattern ? pattern : 0);
  const triangles = (n * (n - 1) * (n - 2) * m * (m - 1) * (m - 2)) / 6;
  const radius = Math.sqrt(TARGET_GATE) * sigma;
  const volume = spread.reduce((product, s) => product * Math.max(2 * radius, Math.sqrt(12) * s), 1);
  const randomMeeting = Math.min(1, (m * (4 / 3) * Math.PI * radius ** 3) / volume);
  // Three times more repetition than chance gives: the layout has a pattern, and a target meets another by the pattern.
  const meeting = repeated > 3 * randomSide ? Math.max(randomMeeting, repeated) : randomMeeting;
  let logarithm = Math.log(triangles) + 3 * Math.log(side);
  for (let i = 0; i < matched - 3; i++) logarithm += Math.log(((n - 3 - i) / (i + 1)) * meeting);
  // Equal names by chance: one in the longer list, each.
  logarithm -= equalNames * Math.log(Math.max(n, m));
  return Math.exp(Math.min(700, logarithm));
}

/** Share of the pairs of distances in a list that agree within the gate. */
function repeatedShare(cloud: TargetCloud, gate: number): number {
  const n = cloud.count;
  const distances = new Float64Array((n * (n - 1)) / 2);
  for (let i = 0, k = 0; i < n; i++) for (let j = 0; j < i; j++) distances[k++] = cloud.distances[i * n + j];
  distances.sort();
  let agreeing = 0;
  for (let i = 0, from = 0; i < distances.length; i++) {
    while (distances[i] - distances[from] > gate) from++;
    agreeing += i - from;
  }
  const all = (distances.length * (distances.length - 1)) / 2;
  return all > 0 ? agreeing / all : 0;
}

function rmsSpread(cloud: TargetCloud): number[] {
  const moments = new Float64Array(9);
  for (let i = 0; i < cloud.count; i++) {
    for (let r = 0; r < 3; r++) {
      for (let c = 0; c < 3; c++) {
        moments[3 * r + c] += (cloud.points[3 * i + r] * cloud.points[3 * i + c]) / cloud.count;
      }
    }
  }
  return Array.from(symmetricEigen(moments, 3).values, (v) => Math.sqrt(Math.max(0, v)));
}
