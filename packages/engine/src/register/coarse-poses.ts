import type { RunContext } from '../base/index.ts';
import { invert, type Pose } from '../math/index.ts';
import { nameFreeMotions } from './coarse-freedom.ts';
import { type CoarseMatch, matchCoarseModels, rivalMargin } from './coarse-match.ts';
import { buildCoarseModel, chooseCoarseSpacing, turnModelInsideOut } from './coarse-model.ts';
import { invertMotion, poseOfMotion } from './coarse-motion.ts';
import type { ScoredMotion } from './coarse-search.ts';
import { findSelfMotions } from './coarse-symmetry.ts';
import { compareScans } from './pair-order.ts';
import type { PreparedScan } from './prepared-scan.ts';
import { fromLocalPose } from './rigid-motion.ts';

/** What one scan's samples say about a pose. Shares of all samples of that scan. */
export interface CoarseSide {
  readonly sampleCount: number;
  /** On the other scan's surface and facing the same way. */
  readonly overlapShare: number;
  /** Beside the other scan's surface, where they should lie on it. */
  readonly offShare: number;
  /** Between the other scan's instrument and what it saw; 0 too when the other scan's viewpoint is unknown. */
  readonly freeSpaceShare: number;
}

/** One pose that was found without a guess, with its evidence. */
export interface CoarsePose {
  readonly targetFromSource: Pose;
  /** Natural logarithm of how much likelier the evidence is under a true pose than under a chance pose. */
  readonly score: number;
  readonly source: CoarseSide;
  readonly target: CoarseSide;
  /** Root mean square distance of the agreeing samples, mm. */
  readonly residual: number;
  /** Feature matches that agree on the pose. */
  readonly featureSupport: number;
  /** Agreeing samples divided by all that could be judged: agreeing, off and in free space. */
  readonly consistency: number;
}

/** Result of a search without a guess. */
export interface CoarsePosesResult {
  /**
   * `accepted`: the first pose. `ambiguous`: several poses fit, or one that slides; none is chosen. `insufficient-overlap`: no
   * pose is believed; those listed are for information.
   */
  readonly status: 'accepted' | 'ambiguous' | 'insufficient-overlap';
  /** Best first. */
  readonly poses: readonly CoarsePose[];
  /** How far the best is ahead of the next: 0 as good, 1 no rival. */
  readonly margin: number;
  /** In words, motions along which the best pose is not held, in the target's frame. */
  readonly freeDirections: readonly string[];
  /** Spacing of the samples looked at, mm. */
  readonly spacing: number;
  /** How exactly a coarse pose is known, mm: a fine registration starts within it. */
  readonly message: string;
  readonly remedy: string;
}

/** How a search without a guess is done. */
export interface FindCoarsePosesOptions {
  /** Sample spacing as a share of the smaller scan's radius. */
  readonly spacingShare: number;
}

/** A twentieth of the radius: some 2500 samples a view, fine enough for overlaps of a fifth. */
export const FIND_COARSE_POSES_DEFAULTS: FindCoarsePosesOptions = { spacingShare: 0.05 };

/**
 * Finds the poses in which one scan fits another, without any guess.
 *
 * Frames   `targetFromSource` between the true frames of the scans; mm.
 * Method   samples evenly spaced over both surfaces; fast point feature histograms [Rusu09]; cliques of matches that are
 *          consistent in distance and normals [Zhang23]; every hypothesis settled by robust point-to-plane fitting and scored by
 *          overlap, near misses and free space in both directions; symmetries of either scan and slides along the least held
 *          motions are tried against the best one.
 * Assumes  rigid scans at one scale. Without a known or inferable viewpoint near misses replace free space.
 * Limits   flat, rolled or repeated shapes give `ambiguous`, small overlaps `insufficient-overlap`; neither is an error.
 *          A coarse pose is good to about half a sample spacing: refine it.
 * Repeats  bit for bit; swapped roles give the inverse pose.
 *
 * @param source the scan whose pose is sought
 * @param target the scan whose frame is kept
 */
export async function findCoarsePoses(
  source: PreparedScan,
  target: PreparedScan,
  options: Partial<FindCoarsePosesOptions>,
  context: RunContext,
): Promise<CoarsePosesResult> {
  const { spacingShare } = { ...FIND_COARSE_POSES_DEFAULTS, ...options };
  const isSwapped = compareScans(target, source) > 0;
  const [first, second] = isSwapped ? [source, target] : [target, source];
  const spacing = chooseCoarseSpacing([first, second], spacingShare);
  if (!(spacing > 0)) return emptyResult();
  await context.checkpoint(0.05, 'looking at the first scan');
  const a = buildCoarseModel(first, spacing);
  await context.checkpoint(0.25, 'looking at the second scan');
  const b = buildCoarseModel(second, spacing);
  await context.checkpoint(0.45, 'looking for symmetries');
  const symmetries = { source: findSelfMotions(b), target: findSelfMotions(a) };
  await context.checkpoint(0.6, 'trying poses');
  let match = matchCoarseModels(b, a, symmetries);
  if (match.status === 'insufficient-overlap' && !(first.oriented && second.oriented)) {
    // The side on which the surface was seen is a guess for a cloud without viewpoint: try the other one.
    const turned = second.oriented ? { a: turnModelInsideOut(a), b } : { a, b: turnModelInsideOut(b) };
    const other = matchCoarseModels(turned.b, turned.a, symmetries);
    if (other.status !== 'insufficient-overlap') match = other;
  }
  await context.checkpoint(1);
  return describeMatch(match, spacing, first, second, isSwapped);
}

function emptyResult(): CoarsePosesResult {
  return {
    status: 'insufficient-overlap',
    poses: [],
    margin: 0,
    freeDirections: [],
    spacing: 0,
    message: 'A scan without extent has no pose.',
    remedy: 'Capture more of the surface.',
  };
}

function describeMatch(
  match: CoarseMatch,
  spacing: number,
  targetScan: PreparedScan,
  sourceScan: PreparedScan,
  isSwapped: boolean,
): CoarsePosesResult {
  const poses = match.motions.map((motion) => describePose(motion, sourceScan, targetScan, isSwapped));
  const best = match.motions[0];
  const second = match.motions[1];
  const margin = best === undefined ? 0 : marginOf(best.score, second?.score);
  // Words speak of the target's frame as the caller named it.
  const free =
    best === undefined
      ? []
      : nameFreeMotions(
          match.free,
          isSwapped ? invertMotion(best.motion) : null,
          (isSwapped ? sourceScan : targetScan).origin,
        );
  const words = wordsOf(match, free);
  return {
    status: match.status,
    poses,
    margin,
    freeDirections: free,
    spacing,
    ...words,
  };
}

/** 0: a rival is as good; 1: none scores above zero. */
export function marginOf(best: number, rival: number | undefined): number {
  if (!(best > 0)) return 0;
  return Math.min(1, Math.max(0, 1 - Math.max(0, rival ?? 0) / best));
}

function wordsOf(match: CoarseMatch, free: readonly string[]): { message: string; remedy: string } {
  if (match.status === 'accepted') return { message: 'One pose fits; no other comes near it.', remedy: '' };
  if (match.status === 'insufficient-overlap') {
    return {
      message: 'No pose is believed: too little overlap, or too little shape in it.',
      remedy:
        'Capture more common surface with edges or curvature, or tie the scans by picked pairs or common targets.',
    };
  }
  if (free.length > 0) {
    return {
      message: `The scans fit but slide: ${free.join('; ')}.`,
      remedy: 'Tie the scans by picked pairs or common targets, or capture surface that holds this motion.',
    };
  }
  const best = match.motions[0].score;
  const count = match.motions.filter((motion) => motion.score > best - rivalMargin(best)).length;
  return {
    message: `Ambiguous: ${count} poses fit about equally.`,
    remedy: 'Choose one by picked pairs or common targets, or capture surface that tells them apart.',
  };
}

function describePose(
  scored: ScoredMotion,
  sourceScan: PreparedScan,
  targetScan: PreparedScan,
  isSwapped: boolean,
): CoarsePose {
  const { forward, backward } = scored;
  const side = (evidence: typeof forward): CoarseSide => ({
    sampleCount: evidence.samples,
    overlapShare: evidence.samples > 0 ? evidence.agree / evidence.samples : 0,
    offShare: evidence.samples > 0 ? evidence.off / evidence.samples : 0,
    freeSpaceShare: evidence.samples > 0 ? evidence.inFront / evidence.samples : 0,
  });
  const agree = forward.agree + backward.agree;
  const judged = agree + forward.off + backward.off + forward.inFront + backward.inFront;
  const pose = fromLocalPose(poseOfMotion(scored.motion), targetScan, sourceScan);
  return {
    targetFromSource: isSwapped ? invert(pose) : pose,
    score: scored.score,
    source: side(isSwapped ? backward : forward),
    target: side(isSwapped ? forward : backward),
    residual:
      agree > 0 ? Math.sqrt((forward.agree * forward.rms ** 2 + backward.agree * backward.rms ** 2) / agree) : 0,
    featureSupport: scored.support,
    consistency: judged > 0 ? agree / judged : 0,
  };
}
