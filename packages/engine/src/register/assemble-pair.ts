import { type CoarseMatch, matchCoarseModels } from './coarse-match.ts';
import { buildCoarseModel, type CoarseModel } from './coarse-model.ts';
import { invertMotion, type Motion } from './coarse-motion.ts';
import type { ScoredMotion } from './coarse-search.ts';
import { findSelfMotions } from './coarse-symmetry.ts';
import type { PreparedScan } from './prepared-scan.ts';

/** One scan as the assembly sees it. Plain data: may cross threads. */
export interface AssemblyScan {
  readonly model: CoarseModel;
  /** Motions that bring the scan onto itself. */
  readonly selfMotions: readonly Motion[];
}

/** Describes one scan for the assembly; `spacing` from `chooseCoarseSpacing` over all scans. */
export function describeForAssembly(scan: PreparedScan, spacing: number): AssemblyScan {
  const model = buildCoarseModel(scan, spacing);
  return { model, selfMotions: findSelfMotions(model) };
}

/** One pair to be matched. */
export interface PairMatchInput {
  readonly source: number;
  readonly target: number;
  readonly sourceScan: AssemblyScan;
  readonly targetScan: AssemblyScan;
}

/** What was found for a pair: motions are `targetFromSource` between float32 frames. */
export interface PairMatch {
  readonly source: number;
  readonly target: number;
  readonly match: CoarseMatch;
}

/**
 * Matches one pair of an assembly. Pure: pairs may run in any order and on any thread.
 *
 * Limits   a quick search; with many scans a pair that it misses is placed through others. `isThorough` searches wider.
 * Repeats  the scan with more points is taken as target, whatever its role, so that swapped roles give the inverse.
 */
export function matchPair(input: PairMatchInput, isThorough = false): PairMatch {
  const { source, target, sourceScan, targetScan } = input;
  const a = sourceScan.model;
  const b = targetScan.model;
  const isSwapped = a.pointCount !== b.pointCount ? a.pointCount > b.pointCount : a.radius > b.radius;
  if (!isSwapped) {
    const symmetries = { source: sourceScan.selfMotions, target: targetScan.selfMotions };
    return { source, target, match: matchCoarseModels(a, b, symmetries, !isThorough) };
  }
  const match = matchCoarseModels(
    b,
    a,
    { source: targetScan.selfMotions, target: sourceScan.selfMotions },
    !isThorough,
  );
  return { source, target, match: { ...match, motions: match.motions.map(turnAround) } };
}

function turnAround(scored: ScoredMotion): ScoredMotion {
  const motion = invertMotion(scored.motion);
  return {
    motion,
    support: scored.support,
    settled: { ...scored.settled, motion },
    forward: scored.backward,
    backward: scored.forward,
    score: scored.score,
  };
}
