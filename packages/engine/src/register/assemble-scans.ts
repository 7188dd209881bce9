import type { RunContext } from '../base/index.ts';
import type { Pose } from '../math/index.ts';
import { collectAssemblyEvidence, type PlacedModel } from './assemble-evidence.ts';
import { type AssemblyGroup, expelUnconvincing, gatherCandidates, growGroup, relaxGroup } from './assemble-grow.ts';
import { type AssemblyScan, matchPair, type PairMatch } from './assemble-pair.ts';
import { decidePlace, type PlaceDecision } from './assemble-place.ts';
import { buildUnionModel } from './assemble-union.ts';
import { type FreeMotions, nameFreeMotions } from './coarse-freedom.ts';
import { rivalMargin } from './coarse-match.ts';
import { composeMotions, invertMotion, type Motion, poseOfMotion } from './coarse-motion.ts';
import { marginOf } from './coarse-poses.ts';
import { searchWidely } from './coarse-search.ts';

/** Why a scan has no pose. */
export type AssemblyRefusal = 'insufficient-overlap' | 'ambiguous' | 'slides' | 'contradicted' | 'other-group';

/** What became of one scan. */
export interface AssembledScan {
  readonly status: 'placed' | AssemblyRefusal;
  /** `assemblyFromScan` between true frames; the assembly's frame is that of the first placed scan. Null when refused. */
  readonly assemblyFromScan: Pose | null;
  /** Natural logarithm of the likelihood ratio of all evidence against all other placed scans. */
  readonly score: number;
  /** Shares of the scan's samples: on another scan, off one, in space that another scan saw to be empty. */
  readonly overlapShare: number;
  readonly offShare: number;
  readonly freeSpaceShare: number;
  /** Root mean square distance of the overlapping samples, mm. */
  readonly residual: number;
  /** 0: a rival is as good; 1: no rival. */
  readonly margin: number;
  /** For a refused scan: the places that fit about as well as the best one, best first. */
  readonly rivals: readonly { readonly assemblyFromScan: Pose; readonly score: number }[];
  /** Motions along which it would slide. */
  readonly freeDirections: readonly string[];
  readonly message: string;
  readonly remedy: string;
}

/** All scans in one frame, or named refusals. In the order of the input. */
export interface AssemblyResult {
  readonly scans: readonly AssembledScan[];
  readonly placedCount: number;
  /** Numbers of the scans of each further group that holds together but not with the largest. */
  readonly otherGroups: readonly (readonly number[])[];
}

/** Identity of the evidence of a scan that stands alone. */
const NO_EVIDENCE = { score: 0, overlapShare: 0, offShare: 0, freeSpaceShare: 0, residual: 0, margin: 0 };

/**
 * Places all scans in one frame from nothing but the matches of their pairs.
 *
 * Frames   `assemblyFromScan`; the assembly's frame is that of the first scan, in the order given, that is placed.
 * Method   groups grow from their surest pair; each scan is placed by its evidence against all scans placed before it, so that
 *          wrong pair hypotheses must agree with every other scan to get in. Scans that no pair places are matched with the union
 *          of those placed. Then every scan is settled on all others, and each is judged once more against all others.
 * Limits   the largest group is kept; scans outside it are refused by name. A place is good to a fraction of a sample spacing.
 * Repeats  bit for bit; serial. The pairs may come from any number of threads.
 *
 * @param pairs results of `matchPair`, any order
 */
export async function assembleScans(
  scans: readonly AssemblyScan[],
  pairs: readonly PairMatch[],
  context: RunContext,
): Promise<AssemblyResult> {
  let sorted = [...pairs].sort((a, b) => a.source - b.source || a.target - b.target);
  if (!sorted.some((pair) => pair.match.status === 'accepted')) {
    sorted = await searchThoroughly(scans, sorted, context);
  }
  const groups: AssemblyGroup[] = [];
  const available = new Set(scans.keys());
  for (;;) {
    await context.checkpoint(0.1, 'joining scans');
    const group = growGroup(scans, sorted, available);
    if (group === null) break;
    groups.push(group);
    for (const item of group.placed) available.delete(item.index);
  }
  groups.sort((a, b) => b.placed.length - a.placed.length);
  const main = groups[0];
  if (main === undefined) return { scans: scans.map(() => refuseAlone(scans.length)), placedCount: 0, otherGroups: [] };
  const { placed, refused } = main;
  await context.checkpoint(0.5, 'trying the scans left over');
  await placeLeftOver(scans, main, context);
  await context.checkpoint(0.8, 'settling all scans');
  relaxGroup(placed, 3);
  for (const index of expelUnconvincing(placed)) {
    const candidates = gatherCandidates(index, sorted, placed).map((candidate) => candidate.motion);
    const decision = decidePlace(scans[index], candidates, placed);
    refused.set(index, decision.status === 'placed' ? { ...decision, status: 'insufficient-overlap' } : decision);
  }
  await context.checkpoint(0.9, 'checking every scan against all others');
  return describeAssembly(scans, groups, main);
}

/** Most pairs that are searched again. */
const MOST_THOROUGH = 30;

/** Nothing to start from: searches the pairs again, wider. */
async function searchThoroughly(
  scans: readonly AssemblyScan[],
  pairs: readonly PairMatch[],
  context: RunContext,
): Promise<PairMatch[]> {
  const best = (pair: PairMatch): number => pair.match.motions[0]?.score ?? Number.NEGATIVE_INFINITY;
  const chosen = new Set([...pairs].sort((a, b) => best(b) - best(a)).slice(0, MOST_THOROUGH));
  const out: PairMatch[] = [];
  for (const pair of pairs) {
    await context.checkpoint(0.05, 'searching pairs again, wider');
    if (!chosen.has(pair) || pair.match.status === 'ambiguous') {
      out.push(pair);
      continue;
    }
    const { source, target } = pair;
    out.push(matchPair({ source, target, sourceScan: scans[source], targetScan: scans[target] }, true));
  }
  return out;
}

/** Tries scans that no pair could place against the union of the placed ones, until nothing changes. */
async function placeLeftOver(scans: readonly AssemblyScan[], group: AssemblyGroup, context: RunContext): Promise<void> {
  const { placed, refused, rivalScores } = group;
  for (;;) {
    const left = [...scans.keys()].filter((index) => !placed.some((item) => item.index === index));
    if (left.length === 0) return;
    const union = buildUnionModel(placed);
    let best: { index: number; decision: PlaceDecision } | null = null;
    for (const index of left) {
      await context.checkpoint();
      const found = searchWidely(scans[index].model, union, 8);
      const before = refused.get(index)?.places ?? [];
      const decision = decidePlace(
        scans[index],
        [...before.slice(0, 3), ...found].map((item) => item.motion),
        placed,
      );
      refused.set(index, decision);
      if (decision.status !== 'placed') continue;
      const score = decision.places[0].evidence.score;
      if (best === null || score > best.decision.places[0].evidence.score) best = { index, decision };
    }
    if (best === null) return;
    placed.push({ index: best.index, model: scans[best.index].model, motion: best.decision.places[0].motion });
    refused.delete(best.index);
    if (best.decision.places.length > 1) rivalScores.set(best.index, best.decision.places[1].evidence.score);
    relaxGroup(placed, 1);
  }
}

function describeAssembly(
  scans: readonly AssemblyScan[],
  groups: readonly AssemblyGroup[],
  main: AssemblyGroup,
): AssemblyResult {
  const { placed, refused } = main;
  const firstIndex = Math.min(...placed.map((item) => item.index));
  const base = placed.find((item) => item.index === firstIndex) as PlacedModel;
  const baseFromWorld = invertMotion(base.motion);
  const toPose = (motion: Motion, index: number): Pose =>
    trueFramePose(composeMotions(baseFromWorld, motion), base.model.origin, scans[index].model.origin);
  const nameFree = (free: FreeMotions): string[] => nameFreeMotions(free, baseFromWorld, base.model.origin);
  const otherGroups = groups
    .slice(1)
    .map((group) => group.placed.map((item) => item.index).filter((index) => !placed.some((p) => p.index === index)))
    .filter((list) => list.length > 1)
    .map((list) => list.sort((a, b) => a - b));
  const results = scans.map((scan, index): AssembledScan => {
    const place = placed.find((item) => item.index === index);
    if (place !== undefined) return describePlaced(scan, place, main, toPose);
    return describeRefused(index, refused.get(index), otherGroups, toPose, nameFree);
  });
  return { scans: results, placedCount: placed.length, otherGroups };
}

/** Pose between true frames from a motion between float32 frames. */
function trueFramePose(motion: Motion, targetOrigin: readonly number[], sourceOrigin: readonly number[]): Pose {
  const shift = [0, 1, 2].map((r) => {
    const row = 4 * r;
    return (
      motion[row + 3] +
      targetOrigin[r] -
      (motion[row] * sourceOrigin[0] + motion[row + 1] * sourceOrigin[1] + motion[row + 2] * sourceOrigin[2])
    );
  });
  return { rotation: poseOfMotion(motion).rotation, translation: [shift[0], shift[1], shift[2]] };
}

function describePlaced(
  scan: AssemblyScan,
  place: PlacedModel,
  group: AssemblyGroup,
  toPose: (motion: Motion, index: number) => Pose,
): AssembledScan {
  const others = group.placed.filter((item) => item.index !== place.index);
  const evidence = collectAssemblyEvidence(scan.model, place.motion, others);
  return {
    status: 'placed',
    assemblyFromScan: toPose(place.motion, place.index),
    ...sharesOf(evidence),
    margin: marginOf(evidence.score, group.rivalScores.get(place.index)),
    rivals: [],
    freeDirections: [],
    message: 'Placed by its overlap with the other scans.',
    remedy: '',
  };
}

function sharesOf(evidence: ReturnType<typeof collectAssemblyEvidence>): Omit<typeof NO_EVIDENCE, 'margin'> {
  const { forward, score } = evidence;
  const share = (count: number): number => (forward.samples > 0 ? count / forward.samples : 0);
  return {
    score,
    overlapShare: share(forward.agree),
    offShare: share(forward.off),
    freeSpaceShare: share(forward.inFront),
    residual: forward.rms,
  };
}

function describeRefused(
  index: number,
  decision: PlaceDecision | undefined,
  otherGroups: readonly (readonly number[])[],
  toPose: (motion: Motion, index: number) => Pose,
  nameFree: (free: FreeMotions) => string[],
): AssembledScan {
  const best = decision?.places[0];
  const group = otherGroups.find((list) => list.includes(index));
  const status: AssemblyRefusal =
    group !== undefined && (decision === undefined || decision.status === 'insufficient-overlap')
      ? 'other-group'
      : decision === undefined || decision.status === 'placed'
        ? 'insufficient-overlap'
        : decision.status;
  const shares = best === undefined ? NO_EVIDENCE : sharesOf(best.evidence);
  const limit = best === undefined ? 0 : best.evidence.score - rivalMargin(best.evidence.score);
  const near = (decision?.places ?? []).filter((tried) => tried.evidence.score > Math.max(0, limit));
  const free = decision === undefined ? [] : nameFree(decision.free);
  return {
    status,
    assemblyFromScan: null,
    ...NO_EVIDENCE,
    ...shares,
    margin: marginOf(best?.evidence.score ?? 0, decision?.places[1]?.evidence.score),
    rivals: near.map((tried) => ({ assemblyFromScan: toPose(tried.motion, index), score: tried.evidence.score })),
    freeDirections: free,
    ...wordsFor(status, near.length, free),
  };
}

function wordsFor(
  status: AssemblyRefusal,
  count: number,
  free: readonly string[],
): { message: string; remedy: string } {
  const tie = 'tie it by picked pairs or common targets';
  switch (status) {
    case 'ambiguous':
      return { message: `Ambiguous: ${count} poses fit about equally.`, remedy: `Choose one: ${tie}.` };
    case 'slides':
      return {
        message: `The scan fits but slides: ${free.join('; ')}.`,
        remedy: `Capture surface that holds this motion, or ${tie}.`,
      };
    case 'contradicted':
      return {
        message: 'The scan fits only where it would stand in space that another scan saw to be empty.',
        remedy: `Check whether a part moved between the sessions, or ${tie}.`,
      };
    case 'other-group':
      return {
        message: 'The scan fits others, but its group has no believable overlap with the largest group.',
        remedy: `Capture a scan that overlaps both groups, or ${tie}.`,
      };
    default:
      return {
        message: 'No pose is believed: too little overlap with the other scans, or too little shape in it.',
        remedy: `Capture more common surface with edges or curvature, or ${tie}.`,
      };
  }
}

function refuseAlone(count: number): AssembledScan {
  return {
    status: 'insufficient-overlap',
    assemblyFromScan: null,
    ...NO_EVIDENCE,
    rivals: [],
    freeDirections: [],
    message: count > 1 ? 'No two scans fit together believably.' : 'A single scan has nothing to fit to.',
    remedy: 'Capture more common surface with edges or curvature, or tie the scans by picked pairs or common targets.',
  };
}
