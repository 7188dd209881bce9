import type { ShownJob } from './show-job.ts';

/** What a command will take, as far as runs that were measured can say. */
export interface RunEstimate {
  readonly timeSecondsLow: number;
  readonly timeSecondsHigh: number;
  readonly memoryMegabytesLow: number;
  readonly memoryMegabytesHigh: number;
  /** Bytes on the disk, where a command writes much. */
  readonly diskMegabytesLow?: number;
  readonly diskMegabytesHigh?: number;
  /** `measured`: within the sizes of the runs that the figures come from. `extrapolated`: beyond them, so only rough. */
  readonly basis: 'measured' | 'extrapolated';
}

/** What is counted in a job before it runs. */
export interface JobCounts {
  readonly scans: number;
  readonly points: number;
  readonly frames: number;
  /** Pairs of frames that neither common targets nor picked pairs may link, so that they are matched without a guess. */
  readonly blindPairs: number;
  /** Points of the fused surface; the scans' points when there is none yet. */
  readonly fusedPoints: number;
}

/**
 * Sizes of the measured runs: the small and the full demo (0.08 and 1.6 million points, 3 frames, with targets) and ten
 * range scans without any target (0.36 million points, 45 pairs), with one and two workers, on a computer of two cores
 * whose other work came and went. docs/estimates.md lists them.
 */
const MEASURED = { points: [0.05e6, 2e6], scans: [3, 10], blindPairs: [1, 45] } as const;

/** Processor seconds become seconds on the clock: shared out among the workers at best; on a busy or slower computer more. */
const BUSY = 3;

/** Counts of a job that say how long its commands take. */
export function countsOfJob(job: ShownJob): JobCounts {
  const withTargets = new Set(job.lists.filter((list) => list.kind === 'targets').map((list) => list.frame));
  const picked = new Set(
    job.ties.filter((tie) => tie.kind === 'picked').map((tie) => [...tie.frames].sort().join('\n')),
  );
  const frames = [...new Set(job.scans.map((scan) => scan.frame))];
  let blindPairs = 0;
  frames.forEach((a, i) => {
    for (const b of frames.slice(i + 1)) {
      if (withTargets.has(a) && withTargets.has(b)) continue;
      if (!picked.has([a, b].sort().join('\n'))) blindPairs++;
    }
  });
  const points = job.scans.reduce((sum, scan) => sum + scan.points, 0);
  return {
    scans: job.scans.length,
    points,
    frames: frames.length,
    blindPairs,
    fusedPoints: job.fused?.points ?? points,
  };
}

function isMeasured({ points, scans, blindPairs }: JobCounts): boolean {
  return points <= MEASURED.points[1] && scans <= MEASURED.scans[1] && blindPairs <= MEASURED.blindPairs[1];
}

function estimate(
  counts: JobCounts,
  processorSeconds: readonly [number, number],
  memoryMegabytes: number,
  workers: number,
): RunEstimate {
  const basis = isMeasured(counts) ? 'measured' : 'extrapolated';
  // Beyond what was measured the law may bend: twice as much room.
  const doubt = basis === 'measured' ? 1 : 2;
  return {
    timeSecondsLow: Math.max(1, Math.floor(processorSeconds[0] / workers)),
    timeSecondsHigh: Math.ceil(BUSY * doubt * processorSeconds[1]) + 1,
    memoryMegabytesLow: Math.round(0.55 * memoryMegabytes),
    memoryMegabytesHigh: Math.round(1.35 * doubt * memoryMegabytes),
    basis,
  };
}

/** Placing all frames: a part for every pair that is matched without a guess, and one for every point. */
export function estimateAlignment(counts: JobCounts, workers: number): RunEstimate {
  const millions = counts.points / 1e6;
  const low = 2 + counts.blindPairs + 3.5 * millions;
  const high = 3 + 3.2 * counts.blindPairs + 8 * millions;
  return estimate(counts, [low, high], 150 + 40 * workers + 220 * millions, workers);
}

/**
 * Making one surface: a part for every scan, and one for every point.
 *
 * @param finer how many times finer than the data's own the resolution is that was asked for; the work grows with its square
 */
export function estimateFusion(counts: JobCounts, workers: number, finer = 1): RunEstimate {
  const detailed = { ...counts, points: counts.points * finer ** 2 };
  const millions = detailed.points / 1e6;
  const seconds = 2.5 + 0.6 * counts.scans + 24 * millions;
  return estimate(detailed, [0.8 * seconds, 1.2 * seconds], 150 + 50 * workers + 600 * millions, workers);
}

/** The report: its pictures take a fixed part, reading the surfaces the rest. One thread. */
export function estimateReport(counts: JobCounts): RunEstimate {
  const millions = counts.points / 1e6;
  return estimate(counts, [5 + 7 * millions, 11 + 12 * millions], 170 + 440 * millions, 1);
}

/** The handover: the report, and the surface in four formats. One thread. */
export function estimateHandover(counts: JobCounts): RunEstimate {
  const millions = counts.points / 1e6;
  // PLY, STL, OBJ and GLB take some 400 bytes a point of the surface, the cloud 19 a point of the scans.
  const disk = (400 * counts.fusedPoints + 19 * counts.points) / 1e6 + 4;
  return {
    ...estimate(counts, [5 + 9 * millions, 11 + 14 * millions], 185 + 465 * millions, 1),
    diskMegabytesLow: Math.floor(0.85 * disk),
    diskMegabytesHigh: Math.ceil(1.2 * disk),
  };
}

/** Reading files: text at 20 to 50 MB a second of one core, binary at up to 150; the largest file fills the memory. */
export function estimateReading(megabytes: readonly number[]): RunEstimate {
  const total = megabytes.reduce((sum, size) => sum + size, 0);
  const largest = Math.max(0, ...megabytes);
  return {
    timeSecondsLow: Math.max(1, Math.floor(total / 150)),
    timeSecondsHigh: Math.ceil(BUSY * (total / 25 + 0.2 * megabytes.length)) + 2,
    memoryMegabytesLow: Math.round(60 + 0.8 * largest),
    memoryMegabytesHigh: Math.round(120 + 3 * largest),
    // The largest file that was measured.
    basis: largest <= 70 ? 'measured' : 'extrapolated',
  };
}

/** Writing the demo: both sizes were measured, with one thread. */
export function estimateDemo(size: 'small' | 'full'): RunEstimate {
  const counts = { scans: 3, points: 0, frames: 3, blindPairs: 0, fusedPoints: 0 };
  return size === 'small'
    ? { ...estimate(counts, [5, 7], 232, 1), diskMegabytesLow: 8, diskMegabytesHigh: 10 }
    : { ...estimate(counts, [25, 35], 500, 1), diskMegabytesLow: 110, diskMegabytesHigh: 140 };
}

/** An estimate in words, and how sure it is. */
export function estimateText(estimate: RunEstimate): string {
  const { timeSecondsLow, timeSecondsHigh, memoryMegabytesLow, memoryMegabytesHigh } = estimate;
  const { diskMegabytesLow, diskMegabytesHigh } = estimate;
  const lines = [
    `Estimate: ${timeSecondsLow} to ${timeSecondsHigh} s.`,
    `Memory: ${memoryMegabytesLow} to ${memoryMegabytesHigh} MB.`,
  ];
  if (diskMegabytesLow !== undefined) lines.push(`Disk: ${diskMegabytesLow} to ${diskMegabytesHigh} MB.`);
  lines.push(
    estimate.basis === 'measured'
      ? 'From runs of this size that were measured; a slow or busy computer may take longer.'
      : 'Rough: larger than the runs that were measured.',
  );
  return `${lines.join('\n')}\n`;
}
