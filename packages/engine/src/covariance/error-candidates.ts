/**
 * Candidates for how errors hang together: correlation lengths and strengths of the correlated part, with their prior
 * probabilities, and strengths of the independent part, each in units of its own.
 */
export interface ErrorCandidates {
  /** mm. */
  readonly lengths: readonly number[];
  /** Prior of each length; they sum to one. */
  readonly lengthPriors: readonly number[];
  /** Standard deviations of the correlated part in units of the expected noise of the difference of both scans. */
  readonly strengths: readonly number[];
  readonly strengthPriors: readonly number[];
  /** Variance of the independent part of one match, in units of the expected noise squared. Uniform prior. */
  readonly nuggets: readonly number[];
}

/** Ratio of neighbouring lengths. */
const LENGTH_STEP = 1.8;
/** Nuggets from far below the noise (matches are means over neighbourhoods) to far above. */
const NUGGET_STEP = 1.8;
const NUGGET_FROM = 2e-4;
const NUGGET_TO = 30;
const STRENGTHS: readonly number[] = [0, 0.1, 0.18, 0.3, 0.5, 0.75, 1.1, 1.7, 2.6, 4];

/**
 * Lengths from the spacing of the points to the reach of one view: errors of an instrument hang together within what it sees
 * at once. Equally probable by their logarithm. Strengths: half-Cauchy with the expected noise as scale, which the instrument
 * sheet states for both parts together (Gelman 2006, prior for a standard deviation).
 */
export function errorCandidates(shortest: number, longest: number): ErrorCandidates {
  const steps = Math.max(
    1,
    Math.ceil(Math.log(Math.max(longest, shortest * LENGTH_STEP) / shortest) / Math.log(LENGTH_STEP)),
  );
  const lengths = Array.from({ length: steps + 1 }, (_, k) => shortest * (longest / shortest) ** (k / steps));
  const nuggets: number[] = [];
  for (let v = NUGGET_FROM; v < NUGGET_TO * NUGGET_STEP; v *= NUGGET_STEP) nuggets.push(v);
  const density = (t: number): number => 1 / (1 + t * t);
  const widths = STRENGTHS.map((t, k) => ((STRENGTHS[k + 1] ?? 2 * t) - (STRENGTHS[k - 1] ?? 0)) / 2);
  const masses = STRENGTHS.map((t, k) => density(t) * widths[k]);
  const total = masses.reduce((a, b) => a + b, 0);
  return {
    lengths,
    lengthPriors: lengths.map(() => 1 / lengths.length),
    strengths: STRENGTHS,
    strengthPriors: masses.map((m) => m / total),
    nuggets,
  };
}
