/**
 * Mean correlation between two patches of points whose errors fall off as exp(-d^2 / length^2) over the surface.
 *
 * Method   points of a patch taken as spread normally in its two surface directions, which gives the mean in closed form; equal
 *          patches at no distance: the share of the variance that their mean keeps.
 *
 * @param distanceSquared between the patches' middles, mm^2
 * @param spread2 sum of the squares of both spreads along one axis, mm^2
 */
export function fieldCorrelation(distanceSquared: number, spread2: number, length: number): number {
  const square = length * length;
  const wide = square + 2 * spread2;
  return (square / wide) * Math.exp(-distanceSquared / wide);
}

/**
 * The same for errors that are independent from point to point: how much of the independent error two patches of one scan
 * share because they are means over the same points, in units of the error of one match.
 *
 * @param weightA and @param weightB sums of the matches' weights
 */
export function sharedPoints(
  distanceSquared: number,
  spreadA: number,
  spreadB: number,
  weightA: number,
  weightB: number,
): number {
  const spread2 = spreadA * spreadA + spreadB * spreadB;
  if (!(spread2 > 0)) return distanceSquared === 0 ? 1 / Math.max(weightA, weightB) : 0;
  const common = ((2 * spreadA * spreadB) / spread2) * Math.exp(-distanceSquared / (2 * spread2));
  return common / Math.sqrt(weightA * weightB);
}
