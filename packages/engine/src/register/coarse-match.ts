import { ALL_HELD, type FreeMotions, findFreeMotions, moveAlong } from './coarse-freedom.ts';
import type { CoarseModel } from './coarse-model.ts';
import { composeMotions, type Motion } from './coarse-motion.ts';
import { isSameMotion, type ScoredMotion, searchMotions, searchWidely, settleAndScore } from './coarse-search.ts';

/** What was found for a pair of scans. Motions are `targetFromSource` between the scans' own float32 frames. */
export interface CoarseMatch {
  readonly status: 'accepted' | 'ambiguous' | 'insufficient-overlap';
  /** Best first. */
  readonly motions: readonly ScoredMotion[];
  /** Motions along which the best pose is not held. */
  readonly free: FreeMotions;
}

/**
 * Score (natural logarithm of a likelihood ratio) from which a pose may be called found. Chance poses of real scans reached 6 on
 * small patches.
 */
const ACCEPT_SCORE = 10;

/** Agreeing samples, both sides together, below which a patch is too small to tell, however well it fits. */
const LEAST_AGREEING = 240;

/** How much lower a rival must score to be ruled out: counts of repeated samples scatter, more so where there are many. */
export function rivalMargin(score: number): number {
  return 5 + 0.05 * Math.max(0, score);
}

/** The evidence alone, without rivals, is enough. */
export function isConvincing(candidate: Pick<ScoredMotion, 'score' | 'forward' | 'backward'>): boolean {
  const { forward, backward, score } = candidate;
  const against = forward.inFront + backward.inFront;
  return (
    score >= ACCEPT_SCORE &&
    forward.weighted + backward.weighted >= LEAST_AGREEING &&
    against <= 0.05 * (forward.agree + backward.agree + forward.off + backward.off + against)
  );
}

/** Poses of a symmetric scan that fit as well as a given one. */
function symmetricAlternatives(best: Motion, source: readonly Motion[], target: readonly Motion[]): Motion[] {
  return [
    ...source.map((motion) => composeMotions(best, motion)),
    ...target.map((motion) => composeMotions(motion, best)),
  ];
}

/**
 * Finds how a scan lies on another and says whether it may be believed.
 *
 * Method   hypotheses from features, each settled and scored; alternatives from the symmetries of either scan; motions along
 *          which the best one slides. Accepted only when the evidence is convincing, no other pose comes near it and
 *          nothing slides. When the usual search brings nothing convincing, a wider one follows unless `quick`.
 *
 * @param symmetries motions of each scan onto itself, as far as known
 */
export function matchCoarseModels(
  source: CoarseModel,
  target: CoarseModel,
  symmetries: { readonly source: readonly Motion[]; readonly target: readonly Motion[] },
  quick = false,
): CoarseMatch {
  let motions = searchMotions(source, target);
  if (!quick && (motions.length === 0 || !isConvincing(motions[0]))) {
    motions = mergeMotions(motions, searchWidely(source, target, 20), source);
  }
  const first = motions[0];
  if (first === undefined || !isConvincing(first)) return judgeFlat(source, target, motions);
  const best = leaveSideValley(source, target, first);
  if (best !== first) motions = mergeMotions(motions.slice(1), [best], source);
  const alternatives = symmetricAlternatives(best.motion, symmetries.source, symmetries.target)
    .filter((motion, k, all) => !all.slice(0, k).some((other) => isSameMotion(other, motion, source)))
    .map((motion) => settleAndScore(source, target, motion, 0));
  motions = mergeMotions(motions, alternatives, source);
  return judgeMotions(source, target, motions);
}

/** Moves a pose along what holds it least and lets it settle again: it may have stopped in a valley beside its place. */
function leaveSideValley(source: CoarseModel, target: CoarseModel, found: ScoredMotion): ScoredMotion {
  let best = found;
  for (let round = 0; round < 3; round++) {
    const from = best;
    if (from.settled.matched < 6 || !(from.settled.reach > 0)) return best;
    for (let k = 0; k < 3; k++) {
      for (const begin of moveAlong(from.settled, k, source.spacing).moved) {
        const again = settleAndScore(source, target, begin, found.support);
        if (again.score > best.score + 0.5) best = again;
      }
    }
    if (best === from) return best;
  }
  return best;
}

/** Decides between the poses found for a pair. */
function judgeMotions(source: CoarseModel, target: CoarseModel, motions: readonly ScoredMotion[]): CoarseMatch {
  const best = motions[0];
  if (best === undefined || !isConvincing(best)) return { status: 'insufficient-overlap', motions, free: ALL_HELD };
  const margin = rivalMargin(best.score);
  const free = tryToSlide(source, target, best);
  const hasRival = motions.length > 1 && motions[1].score > best.score - margin;
  return { status: hasRival || free.directions.length > 0 ? 'ambiguous' : 'accepted', motions, free };
}

function tryToSlide(source: CoarseModel, target: CoarseModel, best: ScoredMotion): FreeMotions {
  return findFreeMotions(best.settled, {
    spacing: source.spacing,
    score: best.score,
    margin: rivalMargin(best.score),
    settle: (begin, held) => settleAndScore(source, target, begin, 0, held).score,
  });
}

/**
 * Two flat scans fit over a large area and yet nothing holds them: says so, instead of that they do not overlap.
 */
function judgeFlat(source: CoarseModel, target: CoarseModel, motions: readonly ScoredMotion[]): CoarseMatch {
  const area = (item: ScoredMotion): number => item.forward.agree + item.backward.agree;
  const largest = motions.reduce<ScoredMotion | null>(
    (best, item) => (best === null || area(item) > area(best) ? item : best),
    null,
  );
  if (largest !== null && area(largest) >= 0.3 * (largest.forward.samples + largest.backward.samples)) {
    const { forward, backward } = largest;
    const against = forward.off + backward.off + forward.inFront + backward.inFront;
    const free = against < 0.1 * area(largest) ? tryToSlide(source, target, largest) : ALL_HELD;
    if (free.directions.length > 0) {
      return { status: 'ambiguous', motions: [largest, ...motions.filter((item) => item !== largest)], free };
    }
  }
  return { status: 'insufficient-overlap', motions, free: ALL_HELD };
}

/** Both lists in one, best first; of two that are one pose the better stays. */
function mergeMotions(a: readonly ScoredMotion[], b: readonly ScoredMotion[], model: CoarseModel): ScoredMotion[] {
  const merged: ScoredMotion[] = [];
  for (const motion of [...a, ...b].sort((p, q) => q.score - p.score)) {
    if (!merged.some((other) => isSameMotion(other.motion, motion.motion, model))) merged.push(motion);
  }
  return merged;
}
