import type { Random } from '../base/index.ts';
import type { MeasurementModel } from './propagate-uncertainty.ts';

/** Options of `propagateDistributions`. */
export interface PropagateDistributionsOptions {
  readonly trialCount: number;
  /** Share of the values that the intervals hold. */
  readonly coverage: number;
}

/** 1e5 trials: the ends of a 95 % interval repeat to about 1 % of the standard uncertainty; JCGM 101, 7.2.1 wants 1e4 / (1 - p) for less. */
export const PROPAGATE_DISTRIBUTIONS_DEFAULTS: PropagateDistributionsOptions = { trialCount: 100_000, coverage: 0.95 };

/** One derived value. */
export interface DistributionSummary {
  readonly mean: number;
  readonly standardUncertainty: number;
  /** Leaves as many values below as above. */
  readonly symmetricInterval: readonly [number, number];
  /** The shortest that holds as many; of equally short ones the lowest. */
  readonly shortestInterval: readonly [number, number];
}

/** Result of `propagateDistributions`. */
export interface PropagatedDistributions {
  readonly outputs: readonly DistributionSummary[];
  /** m x m row-major: covariance of the derived values. */
  readonly covariance: Float64Array;
  readonly trialCount: number;
}

/**
 * Propagates distributions through a model of any shape by drawing inputs at random (JCGM 101, 7; several outputs: JCGM 102, 7).
 *
 * Repeats  bit for bit for the same random stream.
 *
 * @param draw all inputs of one trial, for example from `independentInputs`
 */
export function propagateDistributions(
  model: MeasurementModel,
  draw: (random: Random) => Float64Array,
  random: Random,
  options: Partial<PropagateDistributionsOptions> = {},
): PropagatedDistributions {
  const { trialCount, coverage } = { ...PROPAGATE_DISTRIBUTIONS_DEFAULTS, ...options };
  if (!(Number.isInteger(trialCount) && trialCount > 1)) throw new RangeError('At least two trials are needed.');
  if (!(coverage > 0 && coverage < 1)) throw new RangeError('A coverage lies between 0 and 1.');
  const first = model(draw(random));
  const m = first.length;
  const values = Array.from({ length: m }, () => new Float64Array(trialCount));
  for (let trial = 0; trial < trialCount; trial++) {
    const y = trial === 0 ? first : model(draw(random));
    for (let i = 0; i < m; i++) (values[i] as Float64Array)[trial] = y[i] as number;
  }
  const means = values.map((row) => {
    // Relative to the first value, so that large values keep the digits of their spread.
    let sum = 0;
    for (const value of row) sum += value - row[0];
    return row[0] + sum / trialCount;
  });
  const covariance = new Float64Array(m * m);
  for (let i = 0; i < m; i++) {
    for (let j = 0; j <= i; j++) {
      const [a, b] = [values[i] as Float64Array, values[j] as Float64Array];
      let sum = 0;
      for (let t = 0; t < trialCount; t++) sum += (a[t] - (means[i] as number)) * (b[t] - (means[j] as number));
      covariance[i * m + j] = sum / (trialCount - 1);
      covariance[j * m + i] = covariance[i * m + j];
    }
  }
  const outputs = values.map((row, i) => {
    const sorted = row.sort();
    return {
      mean: means[i] as number,
      standardUncertainty: Math.sqrt(covariance[i * m + i]),
      symmetricInterval: symmetricInterval(sorted, coverage),
      shortestInterval: shortestInterval(sorted, coverage),
    };
  });
  return { outputs, covariance, trialCount };
}

/** JCGM 101, 7.7.2: q values inside, the rest shared out on both sides. */
function symmetricInterval(sorted: Float64Array, coverage: number): readonly [number, number] {
  const q = Math.min(sorted.length - 1, Math.round(coverage * sorted.length));
  const r = Math.floor((sorted.length - q) / 2);
  return [sorted[r] as number, sorted[r + q] ?? (sorted.at(-1) as number)];
}

/** JCGM 101, 7.7.3 and 5.3.4. */
function shortestInterval(sorted: Float64Array, coverage: number): readonly [number, number] {
  const q = Math.min(sorted.length - 1, Math.round(coverage * sorted.length));
  let best = 0;
  for (let r = 1; r + q < sorted.length; r++) {
    if (sorted[r + q] - sorted[r] < sorted[best + q] - sorted[best]) best = r;
  }
  return [sorted[best] as number, sorted[best + q] as number];
}
