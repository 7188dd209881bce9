// Shares of true values inside their stated 95 % regions, over jobs.
import type { ProofResult } from './run-jobs.ts';
import { type JobScore, SCORED, type Scored } from './score.ts';

export interface Coverage {
  readonly jobCount: number;
  readonly count: number;
  readonly share: number;
  /** 95 % interval of the share; what belongs to one job hangs together, and counts for no more than it tells. */
  readonly from: number;
  readonly to: number;
  /** Mean of the squared normalised error over its degrees of freedom: 1 when the covariance is true. */
  readonly meanSquare: number;
  /** Median of actual error over stated standard uncertainty. */
  readonly medianRatio: number;
  /** Median stated standard uncertainty, mm. */
  readonly medianStated: number;
}

/** Interval of a share found in `count` independent trials (Wilson 1927). */
function wilson(share: number, count: number): { from: number; to: number } {
  const z = 1.959964;
  const middle = (share + (z * z) / (2 * count)) / (1 + (z * z) / count);
  const half = (z * Math.sqrt((share * (1 - share)) / count + (z * z) / (4 * count * count))) / (1 + (z * z) / count);
  return { from: Math.max(0, middle - half), to: Math.min(1, middle + half) };
}

export function coverageOf(scores: readonly JobScore[], kind: Scored): Coverage | null {
  const jobs = scores.map((score) => score[kind]).filter(({ inside }) => inside.length > 0);
  if (jobs.length === 0) return null;
  const inside = jobs.flatMap((job) => job.inside);
  const share = mean(inside);
  // Independent trials that the jobs are worth: from the scatter between jobs (Kish 1965), at least the number of jobs.
  const excess = jobs.map(({ inside: own }) => own.reduce((sum, one) => sum + one - share, 0));
  const scatter = excess.reduce((sum, e) => sum + e * e, 0) / inside.length ** 2;
  const binomial = share * (1 - share);
  const trials = scatter > 0 ? binomial / scatter : jobs.length;
  return {
    jobCount: jobs.length,
    count: inside.length,
    share,
    ...wilson(share, Math.min(inside.length, Math.max(jobs.length / 2, trials))),
    meanSquare: mean(jobs.flatMap((job) => job.normalised)),
    medianRatio: median(jobs.flatMap((job) => job.ratio)),
    medianStated: median(jobs.flatMap((job) => job.stated)),
  };
}

export function scoresOf(
  results: readonly ProofResult[],
  variant: string,
  family: string | null,
  length: number | null,
): JobScore[] {
  return results
    .filter(({ job }) => family === null || job.family === family)
    .filter((result) => length === null || result.length === length)
    .flatMap((result) => {
      const score = result.scores[variant];
      return score === undefined ? [] : [score];
    });
}

/** A plain table of everything, for the terminal. */
export function coverageLines(results: readonly ProofResult[], variants: readonly string[]): string[] {
  const lines: string[] = [];
  const percent = (x: number): string => (100 * x).toFixed(1).padStart(5);
  for (const family of new Set(results.map(({ job }) => job.family))) {
    const own = results.filter(({ job }) => job.family === family);
    const refused = own.filter(({ refusal }) => refusal !== null).length;
    const loose = own.filter(({ isSettled }) => !isSettled).length;
    lines.push(
      '',
      `${family}: ${own.length} jobs, ${mean(own.map(({ rounds }) => rounds)).toFixed(1)} rounds, ${mean(own.map(({ timeMs }) => timeMs)).toFixed(0)} ms processor time a job${refused > 0 ? `, ${refused} refused` : ''}${loose > 0 ? `, ${loose} not settled` : ''}`,
      'variant  what            95 % region held the truth          mean sq/dof  median error/u  median u mm',
    );
    for (const variant of variants) {
      for (const length of [null, ...new Set(own.map((result) => result.length))]) {
        for (const kind of SCORED) {
          if (length !== null && kind !== 'poses') continue;
          const c = coverageOf(scoresOf(own, variant, family, length), kind);
          if (c === null) continue;
          const what = length === null ? kind : `  L = ${length} mm`;
          lines.push(
            `${variant.padEnd(8)} ${what.padEnd(14)} ${percent(c.share)} % (${percent(c.from)} to ${percent(c.to)}) of ${String(c.count).padStart(6)} ${c.meanSquare.toPrecision(3).padStart(12)} ${c.medianRatio.toPrecision(3).padStart(12)} ${c.medianStated.toPrecision(3).padStart(13)}`,
          );
        }
      }
    }
  }
  return lines;
}

export function mean(values: readonly number[]): number {
  return values.reduce((sum, value) => sum + value, 0) / values.length;
}

export function median(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[Math.floor(sorted.length / 2)];
}
