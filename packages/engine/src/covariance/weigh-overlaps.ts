import type { RunContext } from '../base/index.ts';
import type { InstrumentErrors, OverlapCorrelation, WeighedOverlap } from '../model/index.ts';
import { learnErrors, type RunLikelihoods } from './learn-errors.ts';
import type { PatchedOverlap } from './patched-overlap.ts';
import { sharedScanCorrelations } from './shared-scan.ts';
import { weighOverlap } from './weigh-overlap.ts';

/** All overlaps of a job, weighed. */
export interface WeighedOverlaps {
  /** In the order of the overlaps. */
  readonly forms: readonly WeighedOverlap[];
  readonly correlations: readonly OverlapCorrelation[];
  readonly instruments: readonly InstrumentErrors[];
}

/**
 * Weighs the overlaps of a job by what they themselves show of the instruments' errors.
 *
 * Units    mm.
 * Method   see `learnErrors`, `weighOverlap` and `sharedScanCorrelations`; docs/uncertainty.md gives the assumptions.
 * Cost     some 0.1 s an overlap, and some milliseconds for each two overlaps with a common scan.
 * Repeats  bit for bit.
 */
export async function weighOverlaps(
  overlaps: readonly PatchedOverlap[],
  runLikelihoods: RunLikelihoods,
  context: RunContext,
): Promise<WeighedOverlaps> {
  await context.checkpoint(0, 'learning how errors hang together');
  const learned = await learnErrors(overlaps, runLikelihoods);
  await context.checkpoint(0.6, 'weighing overlaps');
  const weighed = overlaps.map((overlap, k) => weighOverlap(overlap, learned.overlaps[k]));
  await context.checkpoint(0.8, 'what overlaps share');
  const correlations = sharedScanCorrelations(overlaps, learned.overlaps, weighed);
  return { forms: weighed.map(({ form }) => form), correlations, instruments: learned.instruments };
}
