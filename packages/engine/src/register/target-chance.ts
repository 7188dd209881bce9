import { symmetricEigen } from '../math/index.ts';
import type { TargetCloud } from './target-cloud.ts';
import { TARGET_GATE } from './target-growth.ts';
import { DISTANCE_GATE } from './target-triangles.ts';

/**
 * Expected number of sets of `matched` common targets that two unrelated lists of this size and extent would show.
 *
 * Method   number of triangles compared, times the chance that three sides agree, times the binomial chance that further
 *          targets meet a target of the other list (a-contrario reasoning, Desolneux, Moisan & Morel 2000).
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
  const side = Math.min(1, (2 * gate) / (2.5 * Math.hypot(...spread)));
  const triangles = (n * (n - 1) * (n - 2) * m * (m - 1) * (m - 2)) / 6;
  const radius = Math.sqrt(TARGET_GATE) * sigma;
  const volume = spread.reduce((product, s) => product * Math.max(2 * radius, Math.sqrt(12) * s), 1);
  const meeting = Math.min(1, (m * (4 / 3) * Math.PI * radius ** 3) / volume);
  let logarithm = Math.log(triangles) + 3 * Math.log(side);
  for (let i = 0; i < matched - 3; i++) logarithm += Math.log(((n - 3 - i) / (i + 1)) * meeting);
  // Equal names by chance: one in the longer list, each.
  logarithm -= equalNames * Math.log(Math.max(n, m));
  return Math.exp(Math.min(700, logarithm));
}

function rmsSpread(cloud: TargetCloud): number[] {
  const moments = new Float64Array(9);
  for (let i = 0; i < cloud.count; i++) {
    for (let r = 0; r < 3; r++) {
      for (let c = 0; c < 3; c++)
        moments[3 * r + c] += (cloud.points[3 * i + r] * cloud.points[3 * i + c]) / cloud.count;
    }
  }
  return Array.from(symmetricEigen(moments, 3).values, (v) => Math.sqrt(Math.max(0, v)));
}
