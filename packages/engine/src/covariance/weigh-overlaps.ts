import type { RunContext } from '../base/index.ts';
import type { InstrumentErrors, OverlapCorrelation, WeighedOverlap } from '../model/index.ts';
import { type LearnedErrors, learnErrors, type RunLikelihoods } from './learn-errors.ts';
import type { PatchedOverlap } from './patched-overlap.ts';
import { sharedScanCorrelations } from './shared-scan.ts';
import { evenVariance, type WeighedPatches, weighEvenly, weighOverlap } from './weigh-overlap.ts';

/**
 * How matches count. `learned`: by the inverse of the covariance that was learned. `even`: all alike, which asks less of what
 * was learned; the covariance that is stated is the learned one all the same.
 */
export type OverlapWeights = 'learned' | 'even';

/** All overlaps of a job, weighed. */
export interface WeighedOverlaps {
  /** In the order of the overlaps. */
  readonly forms: readonly WeighedOverlap[];
  readonly correlations: readonly OverlapCorrelation[];
  readonly instruments: readonly InstrumentErrors[];
  /** For the next weighing of the same overlaps. */
  readonly learned: LearnedErrors;
}

/**
 * Weighs the overlaps of a job by what they themselves show of the instruments' errors.
 *
 * @param known errors learned from the same overlaps before, in their order; null: learn them
 *
 * Units    mm.
 * Method   see `learnErrors`, `weighOverlap`, `weighEvenly` and `sharedScanCorrelations`; docs/uncertainty.md gives the assumptions.
 * Cost     some 0.2 s an overlap, and some milliseconds for each two overlaps with a common scan.
 * Repeats  bit for bit.
 */
export async function weighOverlaps(
  overlaps: readonly PatchedOverlap[],
  weights: OverlapWeights,
  known: LearnedErrors | null,
  runLikelihoods: RunLikelihoods,
  context: RunContext,
): Promise<WeighedOverlaps> {
  await context.checkpoint(0, 'learning how errors hang together');
  const learned = known ?? (await learnErrors(overlaps, runLikelihoods));
  await context.checkpoint(0.6, 'weighing overlaps');
  const { weighed, own } = weights === 'even' ? allAlike(overlaps, learned) : byCovariance(overlaps, learned);
  await context.checkpoint(0.8, 'what overlaps share');
  const shared = sharedScanCorrelations(overlaps, learned.overlaps, weighed);
  return {
    forms: weighed.map(({ form }) => form),
    correlations: [...own, ...shared],
    instruments: learned.instruments,
    learned,
  };
}

interface Weighing {
  readonly weighed: readonly WeighedPatches[];
  /** By how much gradients vary more than their information says. */
  readonly own: readonly OverlapCorrelation[];
}

function byCovariance(overlaps: readonly PatchedOverlap[], learned: LearnedErrors): Weighing {
  return { weighed: overlaps.map((overlap, k) => weighOverlap(overlap, learned.overlaps[k])), own: [] };
}

/** One variance for all matches, in units of each overlap's expected noise: right on average over the overlaps. */
function allAlike(overlaps: readonly PatchedOverlap[], learned: LearnedErrors): Weighing {
  const noises = overlaps.map(({ scanA, scanB }) => scanA.noise ** 2 + scanB.noise ** 2);
  const ratios = overlaps.map((overlap, k) => evenVariance(overlap, learned.overlaps[k]) / noises[k]);
  const ratio = ratios.reduce((sum, r) => sum + r, 0) / ratios.length;
  const each = overlaps.map((overlap, k) => weighEvenly(overlap, learned.overlaps[k], ratio * noises[k]));
  return {
    weighed: each.map(({ weighed }) => weighed),
    own: each.map(({ excess }, k) => ({
      tieA: overlaps[k].tie,
      tieB: overlaps[k].tie,
      gradientCovariance: Array.from(excess),
    })),
  };
}
