import type { RunContext } from '../base/index.ts';
import {
  type ErrorLikelihood,
  type ErrorScan,
  type LearnedErrors,
  type OverlapWeights,
  type PatchedOverlap,
  weighOverlaps,
} from '../covariance/index.ts';
import type { InstrumentErrors, OverlapCorrelation, OverlapObservation } from '../model/index.ts';
import { type PairMemory, pairKey, type RoundScan } from './overlap-round.ts';
import type { TaskRunner } from './task-runner.ts';

/** The overlaps of a round, weighed. */
export interface WeighedRound {
  readonly overlaps: readonly OverlapObservation[];
  readonly correlations: readonly OverlapCorrelation[];
  readonly instruments: readonly InstrumentErrors[];
  readonly learned: LearnedErrors;
}

/**
 * Weighs the overlaps of a round by the errors that they show.
 *
 * @param memory of the round that measured them
 * @param before a round whose learned errors hold here too when its overlaps are the same ones
 */
export async function weighRound(
  overlaps: readonly OverlapObservation[],
  scans: readonly RoundScan[],
  memory: ReadonlyMap<string, PairMemory>,
  weights: OverlapWeights,
  before: WeighedRound | null,
  runner: TaskRunner,
  context: RunContext,
): Promise<WeighedRound> {
  const byId = new Map(scans.map((scan) => [scan.id, scan]));
  const patched = overlaps.map((overlap): PatchedOverlap => {
    const [a, b] = [byId.get(overlap.scanA as string), byId.get(overlap.scanB as string)] as [RoundScan, RoundScan];
    const measured = memory.get(pairKey(a, b))?.measured;
    if (measured === undefined || measured === null) throw new RangeError(`${overlap.tie} was not measured.`);
    return {
      tie: overlap.tie,
      scanA: errorScanOf(a),
      scanB: errorScanOf(b),
      bFromA0: overlap.bFromA0,
      reference: overlap.reference,
      patches: measured.patches,
      smoothing: measured.smoothing,
    };
  });
  const isSame =
    before?.overlaps.length === overlaps.length && overlaps.every(({ tie }, k) => before.overlaps[k].tie === tie);
  const weighed = await weighOverlaps(
    patched,
    weights,
    isSame ? before.learned : null,
    async (tasks) => (await runner.run('error-likelihood', tasks, context.part(0, 0.6))) as ErrorLikelihood[],
    context,
  );
  return {
    overlaps: overlaps.map((overlap, k) => ({ ...overlap, weighed: weighed.forms[k] })),
    correlations: weighed.correlations,
    instruments: weighed.instruments,
    learned: weighed.learned,
  };
}

function errorScanOf(scan: RoundScan): ErrorScan {
  const { noise, spacing } = scan.keyed.scan;
  return {
    id: scan.id,
    instrument: scan.instrument,
    noise,
    spacing,
    reach: scan.errorReach,
    volumetric: scan.volumetric,
  };
}
