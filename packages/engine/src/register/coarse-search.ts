import { findConsistentMotions } from './coarse-consistency.ts';
import { collectEvidence, type OneSidedEvidence } from './coarse-evidence.ts';
import { type CoarseModel, coarsenModel } from './coarse-model.ts';
import { invertMotion, type Motion, motionAngle, motionGap } from './coarse-motion.ts';
import { findPlaneMotions } from './coarse-planes.ts';
import { type SettledMotion, type SettleOptions, settleOnSamples } from './coarse-settle.ts';
import { matchFeatures } from './feature-match.ts';

/** A pose with what speaks for it. */
export interface ScoredMotion {
  readonly motion: Motion;
  /** Matches that agree on it; 0 when it was tried for another reason. */
  readonly support: number;
  readonly settled: SettledMotion;
  /** Source samples against the target. */
  readonly forward: OneSidedEvidence;
  /** Target samples against the source. */
  readonly backward: OneSidedEvidence;
  /** Logarithm of how much more likely the evidence is under a true pose than under a settled chance pose. */
  readonly score: number;
}

/**
 * Shares of samples that agree, lie off, lie in free space: for true poses and for the best chance poses that a search brings up and
 * settles. Set from pairs of real and simulated scans with known poses; docs/decisions/0007 has the figures.
 */
const TRUE_SHARES = [0.93, 0.06, 0.01] as const;
const CHANCE_SHARES = [0.5, 0.3, 0.2] as const;
/** Neighbouring samples repeat each other: so many count as one. */
const SAMPLES_PER_OBSERVATION = 16;

/**
 * Limit within which a sample counts as lying on the other surface, mm: three times the noise of both, between a fifth and
 * two fifths of a spacing, where curvature between the samples and chance set the bounds.
 */
export function agreementLimit(a: CoarseModel, b: CoarseModel): number {
  return Math.min(0.4 * a.spacing, Math.max(0.2 * a.spacing, 3 * Math.hypot(a.noise, b.noise)));
}

/** Log-likelihood ratio of the evidence, natural logarithm. */
export function evidenceScore(...sides: readonly OneSidedEvidence[]): number {
  let sum = 0;
  for (const side of sides) {
    sum += side.weighted * Math.log(TRUE_SHARES[0] / CHANCE_SHARES[0]);
    sum += side.off * Math.log(TRUE_SHARES[1] / CHANCE_SHARES[1]);
    sum += side.inFront * Math.log(TRUE_SHARES[2] / CHANCE_SHARES[2]);
  }
  return sum / SAMPLES_PER_OBSERVATION;
}

/** Both sides' evidence for a pose. */
export function scoreMotion(
  source: CoarseModel,
  target: CoarseModel,
  motion: Motion,
  stride = 1,
): { forward: OneSidedEvidence; backward: OneSidedEvidence; score: number } {
  const tolerance = { agree: agreementLimit(source, target), free: 1.5 * source.spacing };
  const forward = collectEvidence(source.surface, motion, target.lookup, target.free, tolerance, stride);
  const backward = collectEvidence(target.surface, invertMotion(motion), source.lookup, source.free, tolerance, stride);
  return { forward, backward, score: evidenceScore(forward, backward) };
}

/** Two motions that are one pose for the purpose of a coarse search. */
export function isSameMotion(a: Motion, b: Motion, model: CoarseModel): boolean {
  const gap = motionGap(a, b, model.centroid);
  return gap < 4 * model.spacing && gap + motionAngle(a, b) * model.radius < 6 * model.spacing;
}

/**
 * Settles a pose closely and collects all its evidence.
 *
 * @param held a direction of motion that is left alone
 * @param wide first reach of the settling in sample spacings
 */
export function settleAndScore(
  source: CoarseModel,
  target: CoarseModel,
  begin: Motion,
  support: number,
  held?: NonNullable<SettleOptions['held']>,
  wide = 1,
): ScoredMotion {
  const h = source.spacing;
  const end = 2 * agreementLimit(source, target);
  const options = { start: h, end, rounds: 8, stride: 1 };
  const place = [{ lookup: target.lookup, motion: null }];
  const settled = settleOnSamples(
    source.surface,
    place,
    begin,
    held === undefined ? { ...options, start: wide * h } : { ...options, rounds: 5, held },
  );
  return { motion: settled.motion, support, settled, ...scoreMotion(source, target, settled.motion) };
}

/** How a pair is searched. */
interface CoarseSearchOptions {
  /** Partners a sample may bring. */
  readonly candidates: number;
  readonly matchLimit: number;
  readonly hypothesisLimit: number;
  /** Hypotheses that are settled closely. */
  readonly finalists: number;
}

/** Enough for overlaps of a fifth; a wider search follows where these bring nothing. */
const COARSE_SEARCH_DEFAULTS: CoarseSearchOptions = {
  candidates: 2,
  matchLimit: 1000,
  hypothesisLimit: 60,
  finalists: 10,
};

/**
 * Searches the poses that bring one scan onto another, best first.
 *
 * Frames   motions are `targetFromSource` between the scans' own float32 frames.
 */
export function searchMotions(
  source: CoarseModel,
  target: CoarseModel,
  options: Partial<CoarseSearchOptions> = {},
  extra: readonly Motion[] = [],
): ScoredMotion[] {
  const { candidates, matchLimit, hypothesisLimit, finalists } = { ...COARSE_SEARCH_DEFAULTS, ...options };
  const h = source.spacing;
  const matches = matchFeatures(source.features, source.keys, target.features, target.keys, candidates, matchLimit);
  const tolerance = { distance: 1.2 * h, cosine: 0.25, minimumDistance: 4 * h };
  const rateStride = Math.max(1, Math.floor(source.surface.count / 120));
  // A rough pose puts hardly any sample on the surface within the final limit: count what is near.
  const rate = (motion: Motion): number => {
    const near = { agree: h, free: 3 * h };
    const forward = collectEvidence(source.surface, motion, target.lookup, target.free, near, rateStride);
    const backward = collectEvidence(
      target.surface,
      invertMotion(motion),
      source.lookup,
      source.free,
      near,
      rateStride,
    );
    return evidenceScore(forward, backward);
  };
  const hypotheses = [
    ...findConsistentMotions(source.surface, target.surface, matches, tolerance, hypothesisLimit),
    ...findPlaneMotions(source, target, matches, rate, hypothesisLimit).map((motion) => ({ motion, support: 0 })),
    ...extra.map((motion) => ({ motion, support: 0 })),
  ];
  const stride = Math.max(1, Math.floor(source.surface.count / 250));
  const screened: { motion: Motion; support: number; score: number }[] = [];
  const place = [{ lookup: target.lookup, motion: null }];
  for (const hypothesis of hypotheses) {
    const { motion } = settleOnSamples(source.surface, place, hypothesis.motion, {
      start: 2 * h,
      end: h,
      rounds: 5,
      stride,
    });
    if (screened.some((other) => isSameMotion(other.motion, motion, source))) continue;
    screened.push({ motion, support: hypothesis.support, score: scoreMotion(source, target, motion, stride).score });
  }
  screened.sort((a, b) => b.score - a.score);
  const results: ScoredMotion[] = [];
  for (const candidate of screened.slice(0, finalists)) {
    const scored = settleAndScore(source, target, candidate.motion, candidate.support);
    const twin = results.findIndex((other) => isSameMotion(other.motion, scored.motion, source));
    if (twin < 0) results.push(scored);
    else if (scored.score > results[twin].score) results[twin] = scored;
  }
  results.sort((a, b) => b.score - a.score);
  for (let k = 0; k < Math.min(3, results.length); k++) results[k] = polish(source, target, results[k]);
  return results.sort((a, b) => b.score - a.score);
}

/** Settles again from farther off, since the first settling may have stopped beside the place; keeps the best. */
function polish(source: CoarseModel, target: CoarseModel, found: ScoredMotion): ScoredMotion {
  let best = found;
  for (const wide of [1.5, 2]) {
    const again = settleAndScore(source, target, best.motion, found.support, undefined, wide);
    if (again.score > best.score) best = again;
  }
  return best;
}

/** Second look at a pair: larger shapes. */
const COARSER = 1.7;

/**
 * Searches with more candidates, and once more with larger samples and descriptors, which tell large shapes apart where small
 * ones are alike. Poses are settled and scored on the models given.
 */
export function searchWidely(source: CoarseModel, target: CoarseModel, keep: number): ScoredMotion[] {
  const wide = { candidates: 4, matchLimit: 2500, hypothesisLimit: 150, finalists: 16 };
  const found = searchMotions(source, target, wide).slice(0, keep);
  const coarser = searchMotions(coarsenModel(source, COARSER), coarsenModel(target, COARSER), {
    ...wide,
    matchLimit: 1500,
    hypothesisLimit: 100,
  });
  for (const candidate of coarser.slice(0, keep)) {
    const scored = settleAndScore(source, target, candidate.motion, candidate.support, undefined, COARSER);
    const twin = found.findIndex((other) => isSameMotion(other.motion, scored.motion, source));
    if (twin < 0) found.push(scored);
    else if (scored.score > found[twin].score) found[twin] = scored;
  }
  return found.sort((a, b) => b.score - a.score);
}
