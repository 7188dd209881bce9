/**
 * Mean correlation between two patches of points whose errors fall off as exp(-d^2 / length^2).
 *
 * Method   points of a patch taken as spread normally in its two surface directions, which gives the mean in closed form. The
 *          self-correlation is that of two directions, the decay that of space with a factor for each patch (Paciorek &
 *          Schervish 2006): a covariance for any places and spreads, and the exact mean where spreads are alike and small.
 *
 * @param distanceSquared between the patches' middles, mm^2
 * @param spreadA and @param spreadB standard deviations of the places in each patch along one axis, mm
 */
export function fieldCorrelation(distanceSquared: number, spreadA: number, spreadB: number, length: number): number {
  const square = length * length;
  const [a, b] = [2 * spreadA * spreadA, 2 * spreadB * spreadB];
  const wide = square + a + b;
  const self = Math.sqrt(Math.sqrt((square + 2 * a) * (square + 2 * b)) / wide);
  return (square / wide) * self * Math.exp(-distanceSquared / wide);
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
