import {
  type AssemblyEvidence,
  collectAssemblyEvidence,
  type PlacedModel,
  settleInAssembly,
} from './assemble-evidence.ts';
import type { AssemblyScan } from './assemble-pair.ts';
import { ALL_HELD, type FreeMotions, findFreeMotions } from './coarse-freedom.ts';
import { isConvincing, rivalMargin } from './coarse-match.ts';
import { composeMotions, type Motion } from './coarse-motion.ts';
import { isSameMotion } from './coarse-search.ts';

/** A place that was tried for a scan. */
interface TriedPlace {
  /** `worldFromScan`. */
  readonly motion: Motion;
  readonly evidence: AssemblyEvidence;
}

/** Whether a scan can be placed, and all that was tried. */
export interface PlaceDecision {
  readonly status: 'placed' | 'ambiguous' | 'slides' | 'contradicted' | 'insufficient-overlap';
  /** Best first. */
  readonly places: readonly TriedPlace[];
  readonly free: FreeMotions;
}

/** Most places tried for one scan at a time. */
const MOST_PLACES = 10;

/**
 * Decides where a scan belongs among placed ones.
 *
 * Method   each candidate is settled on all placed scans together and judged by the evidence against all of them; symmetric
 *          alternatives of the best are tried; the best is taken when it convinces, no other comes near and nothing slides.
 *
 * @param candidates `worldFromScan`, likeliest first
 */
export function decidePlace(
  scan: AssemblyScan,
  candidates: readonly Motion[],
  placed: readonly PlacedModel[],
): PlaceDecision {
  const { model, selfMotions } = scan;
  const tried: TriedPlace[] = [];
  const attempt = (begin: Motion): void => {
    const { motion } = settleInAssembly(model, begin, placed);
    if (tried.some((other) => isSameMotion(other.motion, motion, model))) return;
    tried.push({ motion, evidence: collectAssemblyEvidence(model, motion, placed) });
  };
  for (const candidate of candidates) {
    if (tried.length >= MOST_PLACES) break;
    if (!tried.some((other) => isSameMotion(other.motion, candidate, model))) attempt(candidate);
  }
  const byScore = (a: TriedPlace, b: TriedPlace): number => b.evidence.score - a.evidence.score;
  tried.sort(byScore);
  if (tried.length > 0 && isConvincing(tried[0].evidence)) {
    const best = tried[0].motion;
    for (const self of selfMotions) attempt(composeMotions(best, self));
    tried.sort(byScore);
  }
  return judgePlaces(scan, tried, placed);
}

/** Decides between places that were tried, best first. */
function judgePlaces(scan: AssemblyScan, tried: readonly TriedPlace[], placed: readonly PlacedModel[]): PlaceDecision {
  const best = tried[0];
  if (best === undefined) return { status: 'insufficient-overlap', places: tried, free: ALL_HELD };
  const { evidence, motion } = best;
  if (!isConvincing(evidence)) {
    const against = evidence.forward.inFront + evidence.backward.inFront;
    const isContradicted = against > 0.05 * (evidence.forward.agree + evidence.backward.agree + against);
    return { status: isContradicted ? 'contradicted' : 'insufficient-overlap', places: tried, free: ALL_HELD };
  }
  const margin = rivalMargin(evidence.score);
  if (tried.length > 1 && tried[1].evidence.score > evidence.score - margin) {
    return { status: 'ambiguous', places: tried, free: ALL_HELD };
  }
  const settled = settleInAssembly(scan.model, motion, placed, { rounds: 2 });
  const free = findFreeMotions(settled, {
    spacing: scan.model.spacing,
    score: evidence.score,
    margin,
    settle: (begin, held) =>
      collectAssemblyEvidence(
        scan.model,
        settleInAssembly(scan.model, begin, placed, { rounds: 5, held }).motion,
        placed,
      ).score,
  });
  return { status: free.directions.length > 0 ? 'slides' : 'placed', places: tried, free };
}
