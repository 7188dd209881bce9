// Shares of true values inside their stated 95 % regions, over jobs.
import type { JobScore, Scored } from './score.ts';

export interface Coverage {
  readonly jobCount: number;
  readonly count: number;
  readonly share: number;
  /** 95 % interval of the share; things of one job hang together, so it counts jobs. */
  readonly from: number;
  readonly to: number;
  /** Mean of the squared normalised error over its degrees of freedom: 1 when the covariance is true. */
  readonly meanSquare: number;
  /** Median of actual error over stated standard uncertainty. */
  readonly medianRatio: number;
  /** Median stated standard uncertainty, mm. */
  readonly medianStated: number;
}

/** Wilson's interval for the share of `count` jobs' worth of evidence. */
function wilson(share: number, count: number): { from: number; to: number } {
  const z = 1.96;
  const middle = (share + (z * z) / (2 * count)) / (1 + (z * z) / count);
  const half = (z * Math.sqrt((share * (1 - share)) / count + (z * z) / (4 * count * count))) / (1 + (z * z) / count);
  return { from: Math.max(0, middle - half), to: Math.min(1, middle + half) };
}

export function coverageOf(scores: readonly JobScore[], kind: Scored): Coverage | null {
  const jobs = scores.map((score) => score[kind]).filter(({ inside }) => inside.length > 0);
  if (jobs.length === 0) return null;
  const inside = jobs.flatMap((job) => job.inside);
  const share = mean(inside);
  // Evidence in independent units: from the scatter between jobs, at least one and at most all of a job's things.
  const means = jobs.map((job) => mean(job.inside));
  const scatter = mean(means.map((m) => (m - share) ** 2));
  const binomial = share * (1 - share);
  const units =
    scatter > 0 && binomial > 0
      ? Math.min(inside.length, Math.max(jobs.length, (jobs.length * binomial) / scatter))
      : jobs.length;
  return {
    jobCount: jobs.length,
    count: inside.length,
    share,
    ...wilson(share, units),
    meanSquare: mean(jobs.flatMap((job) => job.normalised)),
    medianRatio: median(jobs.flatMap((job) => job.ratio)),
    medianStated: median(jobs.flatMap((job) => job.stated)),
  };
}

function mean(values: readonly number[]): number {
  return values.reduce((sum, value) => sum + value, 0) / values.length;
}

function median(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[Math.floor(sorted.length / 2)];
}
