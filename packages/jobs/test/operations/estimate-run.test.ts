import { describe, expect, it } from 'vitest';
import {
  estimateAlignment,
  estimateFusion,
  estimateHandover,
  estimateReading,
  estimateReport,
  estimateText,
  type JobCounts,
  type RunEstimate,
} from '../../src/index.ts';

const SMALL_DEMO: JobCounts = { scans: 3, points: 83_210, frames: 3, blindPairs: 2, fusedPoints: 50_870 };
const FULL_DEMO: JobCounts = { scans: 3, points: 1_589_552, frames: 3, blindPairs: 2, fusedPoints: 1_146_566 };
const TEN_SCANS: JobCounts = { scans: 10, points: 362_272, frames: 10, blindPairs: 45, fusedPoints: 362_272 };

/** Runs that were measured (docs/estimates.md): seconds on the clock of a computer of two cores that was also busy otherwise. */
const RUNS: readonly (readonly [string, RunEstimate, number, number])[] = [
  ['align, small demo, 2 workers', estimateAlignment(SMALL_DEMO, 2), 9.4, 248],
  ['align, small demo, 1 worker', estimateAlignment(SMALL_DEMO, 1), 10, 192],
  ['align, full demo, 2 workers', estimateAlignment(FULL_DEMO, 2), 19.0, 564],
  ['align, full demo, 1 worker', estimateAlignment(FULL_DEMO, 1), 18.4, 497],
  ['align, ten scans, 2 workers', estimateAlignment(TEN_SCANS, 2), 144.6, 332],
  ['fuse, small demo', estimateFusion(SMALL_DEMO, 2), 12.4, 290],
  ['fuse, full demo', estimateFusion(FULL_DEMO, 2), 92.5, 1210],
  ['fuse, ten scans', estimateFusion(TEN_SCANS, 2), 40, 425],
  ['report, small demo', estimateReport(SMALL_DEMO), 10.1, 210],
  ['report, full demo', estimateReport(FULL_DEMO), 33.7, 863],
  ['handover, small demo', estimateHandover(SMALL_DEMO), 10.0, 224],
  ['handover, full demo', estimateHandover(FULL_DEMO), 36.0, 923],
  ['add, 20 MB of PLY', estimateReading([20.2]), 3.2, 96],
  ['add, 64 MB of OBJ', estimateReading([64.5]), 9.6, 209],
];

describe('estimates', () => {
  it.each(RUNS)('hold %s', (_, estimate, seconds, megabytes) => {
    expect(estimate.timeSecondsLow).toBeLessThanOrEqual(seconds);
    expect(estimate.timeSecondsHigh).toBeGreaterThanOrEqual(seconds);
    expect(estimate.memoryMegabytesLow).toBeLessThanOrEqual(megabytes);
    expect(estimate.memoryMegabytesHigh).toBeGreaterThanOrEqual(megabytes);
    expect(estimate.basis).toBe('measured');
  });

  it('are no wider than they have to be: a person can plan with them', () => {
    for (const [, estimate] of RUNS) {
      expect(estimate.memoryMegabytesHigh).toBeLessThan(4 * estimate.memoryMegabytesLow);
      expect(estimate.timeSecondsHigh).toBeLessThan(20 * estimate.timeSecondsLow);
    }
  });

  it('state the disk that a handover takes', () => {
    // Bytes of the handovers of both demos.
    for (const [counts, megabytes] of [
      [SMALL_DEMO, 24.9],
      [FULL_DEMO, 495.7],
    ] as const) {
      const { diskMegabytesLow, diskMegabytesHigh } = estimateHandover(counts);
      expect(diskMegabytesLow).toBeLessThanOrEqual(megabytes);
      expect(diskMegabytesHigh).toBeGreaterThanOrEqual(megabytes);
    }
  });

  it('grow with points, pairs and fineness, and shrink with workers', () => {
    const more = { ...TEN_SCANS, points: 2 * TEN_SCANS.points };
    expect(estimateAlignment(more, 2).timeSecondsHigh).toBeGreaterThan(estimateAlignment(TEN_SCANS, 2).timeSecondsHigh);
    expect(estimateAlignment(TEN_SCANS, 2).timeSecondsHigh).toBeGreaterThan(
      estimateAlignment({ ...TEN_SCANS, blindPairs: 0 }, 2).timeSecondsHigh,
    );
    expect(estimateFusion(FULL_DEMO, 2, 2).timeSecondsLow).toBeGreaterThan(
      2 * estimateFusion(FULL_DEMO, 2).timeSecondsLow,
    );
    expect(estimateFusion(FULL_DEMO, 2, 5).basis).toBe('extrapolated');
    expect(estimateFusion(FULL_DEMO, 8).timeSecondsLow).toBeLessThan(estimateFusion(FULL_DEMO, 1).timeSecondsLow);
  });

  it('say when they go beyond what was measured, and leave more room there', () => {
    const large: JobCounts = { ...FULL_DEMO, points: 100e6, fusedPoints: 50e6 };
    const estimate = estimateFusion(large, 2);
    expect(estimate.basis).toBe('extrapolated');
    expect(estimateText(estimate)).toContain('Rough');
    expect(estimate.timeSecondsHigh / estimate.timeSecondsLow).toBeGreaterThan(
      estimateFusion(FULL_DEMO, 2).timeSecondsHigh / estimateFusion(FULL_DEMO, 2).timeSecondsLow,
    );
  });
});
