import { collectAssemblyEvidence, type PlacedModel, settleInAssembly } from './assemble-evidence.ts';
import type { AssemblyScan, PairMatch } from './assemble-pair.ts';
import { decidePlace, type PlaceDecision } from './assemble-place.ts';
import { isConvincing } from './coarse-match.ts';
import { composeMotions, invertMotion, type Motion } from './coarse-motion.ts';

/** Scans that hold together, in the frame of the first one placed. */
export interface AssemblyGroup {
  readonly placed: PlacedModel[];
  /** Last decision on every scan that was tried and not placed. */
  readonly refused: Map<number, PlaceDecision>;
  /** Best score of another place, for every placed scan that had one. */
  readonly rivalScores: Map<number, number>;
}

/** Pair hypotheses with scores below this are noise. */
const LEAST_PAIR_SCORE = -5;

/** Where a pair's hypotheses would put a scan, given the place of the other. */
export interface Candidate {
  readonly motion: Motion;
  readonly score: number;
}

/** Candidates for one scan from all pairs with placed scans, likeliest first. */
export function gatherCandidates(
  index: number,
  pairs: readonly PairMatch[],
  placed: readonly PlacedModel[],
): Candidate[] {
  const places = new Map(placed.map((item) => [item.index, item.motion]));
  const out: Candidate[] = [];
  for (const { source, target, match } of pairs) {
    const other = source === index ? target : target === index ? source : -1;
    const world = places.get(other);
    if (world === undefined) continue;
    for (const scored of match.motions.slice(0, 4)) {
      if (scored.score < LEAST_PAIR_SCORE) continue;
      const otherFromScan = source === index ? scored.motion : invertMotion(scored.motion);
      out.push({ motion: composeMotions(world, otherFromScan), score: scored.score });
    }
  }
  return out.sort((a, b) => b.score - a.score);
}

/**
 * Grows a group of scans from its surest pair, one scan at a time, the likeliest first.
 *
 * Method   maximum-consistency growth: a scan is placed only by `decidePlace`, that is by its evidence against all placed scans;
 *          a scan that is refused is tried again after every further placement.
 *
 * @param available scans that may take part
 * @returns null when no pair among them was accepted
 */
export function growGroup(
  scans: readonly AssemblyScan[],
  pairs: readonly PairMatch[],
  available: ReadonlySet<number>,
): AssemblyGroup | null {
  const seed = pairs
    .filter((pair) => pair.match.status === 'accepted' && available.has(pair.source) && available.has(pair.target))
    .sort((a, b) => b.match.motions[0].score - a.match.motions[0].score)[0];
  if (seed === undefined) return null;
  const identity = Float64Array.of(1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0);
  const placed: PlacedModel[] = [
    { index: seed.target, model: scans[seed.target].model, motion: identity },
    { index: seed.source, model: scans[seed.source].model, motion: seed.match.motions[0].motion },
  ];
  const refused = new Map<number, PlaceDecision>();
  const rivalScores = new Map<number, number>();
  const seedRival = seed.match.motions[1];
  if (seedRival !== undefined) {
    for (const index of [seed.source, seed.target]) rivalScores.set(index, seedRival.score);
  }
  const triedAt = new Map<number, number>();
  for (;;) {
    let next = -1;
    let nextScore = Number.NEGATIVE_INFINITY;
    let nextCandidates: Candidate[] = [];
    for (const index of available) {
      if (placed.some((item) => item.index === index) || triedAt.get(index) === placed.length) continue;
      const candidates = gatherCandidates(index, pairs, placed);
      if (candidates.length === 0 || candidates[0].score <= nextScore) continue;
      next = index;
      nextScore = candidates[0].score;
      nextCandidates = candidates;
    }
    if (next < 0) return { placed, refused, rivalScores };
    const decision = decidePlace(
      scans[next],
      nextCandidates.map((candidate) => candidate.motion),
      placed,
    );
    if (decision.status === 'placed') {
      placed.push({ index: next, model: scans[next].model, motion: decision.places[0].motion });
      refused.delete(next);
      if (decision.places.length > 1) rivalScores.set(next, decision.places[1].evidence.score);
      relaxGroup(placed, 1);
    } else {
      refused.set(next, decision);
      triedAt.set(next, placed.length);
    }
  }
}

/** Settles every scan but the first on all others, several times over. */
export function relaxGroup(placed: PlacedModel[], sweeps: number): void {
  for (let sweep = 0; sweep < sweeps; sweep++) {
    for (let k = 1; k < placed.length; k++) {
      const others = placed.filter((_, i) => i !== k);
      const { motion } = settleInAssembly(placed[k].model, placed[k].motion, others, { rounds: 3, stride: 2 });
      placed[k] = { ...placed[k], motion };
    }
  }
}

/** Takes out, one after the other, scans whose evidence against all others does not hold; returns their numbers. */
export function expelUnconvincing(placed: PlacedModel[]): number[] {
  const expelled: number[] = [];
  while (placed.length > 1) {
    let worst = -1;
    let worstScore = Number.POSITIVE_INFINITY;
    for (let k = 0; k < placed.length; k++) {
      const others = placed.filter((_, i) => i !== k);
      const evidence = collectAssemblyEvidence(placed[k].model, placed[k].motion, others);
      if (!isConvincing(evidence) && evidence.score < worstScore) {
        worst = k;
        worstScore = evidence.score;
      }
    }
    if (worst < 0) break;
    expelled.push(placed[worst].index);
    placed.splice(worst, 1);
  }
  return expelled;
}
