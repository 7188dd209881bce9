import type { RunContext } from '../base/index.ts';
import { adjustOrientation, isotropicCovariance, type Pose, transformPoint, type Vec3 } from '../math/index.ts';
import type { Target } from '../model/index.ts';
import { expectedFalseMatches } from './target-chance.ts';
import { makeTargetCloud, type TargetCloud } from './target-cloud.ts';
import {
  growTargetSeed,
  placeQuery,
  squaredTargetDistance,
  TARGET_GATE,
  TargetGrid,
  type TargetHypothesis,
} from './target-growth.ts';
import { countEqualNames, listNameConflicts, seedsFromNames, type TargetNameConflict } from './target-names.ts';
import { describeTargetRefusal, type TargetRefusal } from './target-refusal.ts';
import { findTargetSeeds } from './target-triangles.ts';

/** Options of `matchTargetConstellations`. */
export interface MatchTargetsOptions {
  /** Largest expected number of sets as large as the found one that chance alone would give. */
  readonly largestChance: number;
  /** How many starting triangles are grown, at most. */
  readonly largestSeedCount: number;
  /** A rival with more than this share of the matched targets makes the answer ambiguous. */
  readonly rivalShare: number;
}

/**
 * 0.001: one wrong answer in a thousand jobs with nothing but chance. 400: the first true triangle takes all others with it;
 * the rest are rivals and chance. 0.6: regular layouts always have rivals above it, irregular ones hardly ever above a third.
 */
export const MATCH_TARGETS_DEFAULTS: MatchTargetsOptions = {
  largestChance: 1e-3,
  largestSeedCount: 400,
  rivalShare: 0.6,
};

/** One target that both lists hold. Indices into the caller's lists. */
export interface TargetPair {
  readonly a: number;
  readonly b: number;
  readonly nameA: string;
  readonly nameB: string;
  /** b minus moved a, mm, in frame B. */
  readonly residual: Vec3;
  /** Three-dimensional test, chi-square with 3 degrees of freedom when good; null where nothing checks it. */
  readonly pointTest: number | null;
}

/** Another pose that fits nearly as many targets. */
export interface TargetRival {
  readonly bFromA: Pose;
  readonly pairs: readonly (readonly [number, number])[];
}

/** Common targets of two lists with the pose, or a refusal. */
export interface TargetMatch {
  readonly status: 'matched' | 'refused';
  readonly reason: TargetRefusal | null;
  readonly message: string;
  readonly remedy: string;
  readonly bFromA: Pose | null;
  /** 6 x 6 row-major, tx ty tz rx ry rz, left motion in frame B about `reference`; enlarged when the residuals ask for it. */
  readonly covariance: readonly number[] | null;
  readonly reference: Vec3 | null;
  readonly pairs: readonly TargetPair[];
  readonly rms: number | null;
  readonly varianceFactor: number | null;
  readonly redundancy: number;
  /** 1: no rival; 0: a rival fits as many targets. */
  readonly margin: number;
  /** The poses that fit most targets besides the chosen one; when ambiguous, all that compete. */
  readonly rivals: readonly TargetRival[];
  readonly unmatchedA: readonly number[];
  readonly unmatchedB: readonly number[];
  /** `agree`: they say the same as the geometry; `partly`: mostly; `ignored`: they contradict it; `none`: no common names. */
  readonly names: 'agree' | 'partly' | 'ignored' | 'none';
  readonly nameConflicts: readonly TargetNameConflict[];
}

interface Candidate extends TargetHypothesis {
  readonly equalNames: number;
}

/**
 * Finds the targets that two lists have in common by their mutual distances, and the pose between the lists.
 *
 * Frames   result is `bFromA`.
 * Units    mm, rad.
 * Method   triangles with equal sides as seeds, each grown to the largest set that one motion explains within the stated
 *          uncertainties; the largest set wins; least squares with the uncertainties of both lists.
 *          Names only help: to settle what the geometry leaves open, never against it.
 * Assumes  sigma of the targets is honest; targets missing or extra in either list are normal.
 * Limits   three matched targets at least. Refused: too few, collinear, no match beyond chance, mirrored, ambiguous (with the
 *          poses that compete).
 * Cost     two lists of 1000 targets: seconds. Lists beyond some 3000 need memory of their square.
 * Repeats  bit for bit, for any order of the targets in the lists.
 *
 * @throws RangeError when a coordinate is no number or a sigma is not larger than zero
 */
export async function matchTargetConstellations(
  targetsA: readonly Target[],
  targetsB: readonly Target[],
  options: Partial<MatchTargetsOptions>,
  context: RunContext,
): Promise<TargetMatch> {
  const settings = { ...MATCH_TARGETS_DEFAULTS, ...options };
  const a = makeTargetCloud(targetsA);
  const b = makeTargetCloud(targetsB);
  const counts = { a: a.count, b: b.count };
  if (Math.min(a.count, b.count) < 3) return refused('too-few-targets', counts);
  // The smaller list asks, the other answers; equal ones by their extent, so that swapped roles give the inverse.
  const extent = (c: TargetCloud): number => c.distances.reduce((sum, d) => sum + d, 0);
  const swapped = a.count > b.count || (a.count === b.count && extent(a) > extent(b));
  const [query, reference] = swapped ? [b, a] : [a, b];
  if (isLine(query) || isLine(reference)) return refused('collinear', counts);

  const seeds = await findTargetSeeds(query, reference, context.part(0, 0.4));
  const named = seedsFromNames(query, reference);
  const ranked = [...named, ...rankSeeds(seeds, query.count, reference.count)];
  const proper = await growAll(query, reference, ranked, settings, context.part(0.4, 0.8));
  const mirror = await growAll(mirrorCloud(query), reference, ranked, settings, context.part(0.8, 1));
  const report = (h: Candidate): TargetRival => rivalOf(h, query, reference, swapped);

  const best = chooseBest(proper);
  const mirrored = chooseBest(mirror);
  if (mirrored && mirrored.pairs.length >= 4 && mirrored.pairs.length > (best?.pairs.length ?? 0)) {
    const matched = mirrored.pairs.length;
    // A regular layout fits its mirror image in many ways: that is no sign of a mirrored list.
    const repeats = mirror.some(
      (h) =>
        h !== mirrored &&
        isCompetitor(h.pairs.length, matched, settings.rivalShare) &&
        isOtherPose(h, mirrored, mirrorCloud(query), reference),
    );
    if (!best || !repeats) return refused('mirrored', { ...counts, matched });
    return {
      ...refused('ambiguous', { ...counts, matched: best.pairs.length, rival: matched }),
      rivals: [best, ...proper.filter((h) => h !== best)].slice(0, 9).map(report),
    };
  }
  if (!best) return refused('no-match', counts);
  const others = proper.filter((h) => h !== best && isOtherPose(h, best, query, reference));
  const runnerUp = others.reduce((most, h) => Math.max(most, h.pairs.length), 0);
  const count = best.pairs.length;
  const rivals = [...others].sort((x, y) => compareCandidates(x, y)).slice(0, 8);
  const margin = (count - runnerUp) / count;
  const competitors = others.filter((h) => isCompetitor(h.pairs.length, count, settings.rivalShare));
  let chosen = best;
  if (competitors.length > 0) {
    const byName = settleByNames([best, ...competitors]);
    if (!byName) {
      return {
        ...refused('ambiguous', { ...counts, matched: count, rival: runnerUp }),
        margin,
        rivals: [best, ...competitors].slice(0, 9).map(report),
      };
    }
    chosen = byName;
  }
  const chance = expectedFalseMatches(query, reference, chosen.pairs.length, chosen.equalNames);
  if (chance > settings.largestChance) {
    return { ...refused('chance', { ...counts, matched: chosen.pairs.length }), margin, rivals: [report(chosen)] };
  }
  return conclude(
    chosen,
    { a, b, query, reference, swapped },
    { targetsA, targetsB },
    margin,
    rivals.filter((h) => h !== chosen).map(report),
  );
}

function refused(
  reason: TargetRefusal,
  numbers: { a: number; b: number; matched?: number; rival?: number },
): TargetMatch {
  return {
    status: 'refused',
    reason,
    ...describeTargetRefusal(reason, numbers),
    bFromA: null,
    covariance: null,
    reference: null,
    pairs: [],
    rms: null,
    varianceFactor: null,
    redundancy: 0,
    margin: 0,
    rivals: [],
    unmatchedA: [],
    unmatchedB: [],
    names: 'none',
    nameConflicts: [],
  };
}

function isLine(cloud: TargetCloud): boolean {
  const all = Array.from({ length: cloud.count }, (_, i) => [i, i] as const);
  return placeQuery(cloud, cloud, all) === null;
}

function mirrorCloud(cloud: TargetCloud): TargetCloud {
  return { ...cloud, points: cloud.points.map((value, i) => (i % 3 === 0 ? -value : value)) };
}

type Seed = readonly (readonly [number, number])[];

/** Seeds whose pairs occur in many other seeds first; then the strongest triangles. */
function rankSeeds(seeds: Awaited<ReturnType<typeof findTargetSeeds>>, n: number, m: number): Seed[] {
  const votes = new Uint32Array(n * m);
  for (const s of seeds) for (let c = 0; c < 3; c++) votes[(s.query[c] as number) * m + (s.reference[c] as number)]++;
  const scored = seeds.map((seed, index) => {
    const each = [0, 1, 2].map((c) => votes[(seed.query[c] as number) * m + (seed.reference[c] as number)] as number);
    return { seed, index, least: Math.min(...each), total: each.reduce((x, y) => x + y, 0) };
  });
  scored.sort((x, y) => y.least - x.least || y.total - x.total || y.seed.height - x.seed.height || x.index - y.index);
  return scored.map(({ seed }) =>
    [0, 1, 2].map((c) => [seed.query[c] as number, seed.reference[c] as number] as const),
  );
}

async function growAll(
  query: TargetCloud,
  reference: TargetCloud,
  seeds: readonly Seed[],
  settings: MatchTargetsOptions,
  context: RunContext,
): Promise<Candidate[]> {
  const grid = new TargetGrid(reference);
  const found: Candidate[] = [];
  const keys = new Set<string>();
  const members: Set<number>[] = [];
  const m = reference.count;
  let grown = 0;
  for (const seed of seeds) {
    if (grown >= settings.largestSeedCount) break;
    if (members.some((set) => seed.every(([i, k]) => set.has(i * m + k)))) continue;
    if (grown % 4 === 0) await context.checkpoint(grown / settings.largestSeedCount);
    grown++;
    const hypothesis = growTargetSeed(query, grid, seed);
    if (!hypothesis) continue;
    const key = hypothesis.pairs.map(([i, k]) => i * m + k).join(' ');
    if (keys.has(key)) continue;
    keys.add(key);
    members.push(new Set(hypothesis.pairs.map(([i, k]) => i * m + k)));
    const candidate = { ...hypothesis, equalNames: countEqualNames(query, reference, hypothesis.pairs) };
    found.push(candidate);
    // Two different poses that both take most of the smaller list: no later one can make the answer unique.
    const most = query.count;
    const large = found.filter((h) => h.pairs.length >= 4 && h.pairs.length > settings.rivalShare * most);
    if (
      large.length > 1 &&
      grown > 16 &&
      large.some((h) => h !== large[0] && isOtherPose(h, large[0] as Candidate, query, reference))
    )
      break;
  }
  return found;
}

/** Most pairs first, then most equal names, then the better fit. */
function compareCandidates(x: Candidate, y: Candidate): number {
  return y.pairs.length - x.pairs.length || y.equalNames - x.equalNames || x.weightedSumSquares - y.weightedSumSquares;
}

function chooseBest(candidates: readonly Candidate[]): Candidate | null {
  return candidates.reduce<Candidate | null>(
    (best, h) => (best === null || compareCandidates(h, best) < 0 ? h : best),
    null,
  );
}

/** Whether a candidate says something else than the best: at least two of its pairs (one of a small set) lie off the best pose. */
function isOtherPose(h: Candidate, best: Candidate, query: TargetCloud, reference: TargetCloud): boolean {
  const placed = placeQuery(query, reference, best.pairs);
  if (!placed) return true;
  // Twice the gate in length: the same pose reached from other pairs is not a rival.
  const off = h.pairs.filter(
    ([i, k]) => squaredTargetDistance(query, reference, placed, i, k) > 4 * TARGET_GATE,
  ).length;
  return off >= 2 || (off >= 1 && h.pairs.length <= 4);
}

function isCompetitor(rival: number, best: number, share: number): boolean {
  return rival >= 3 && (rival >= best - 1 || rival > share * best);
}

/** The candidate that the names single out: at least three equal ones, two more than any other's, most of its pairs. */
function settleByNames(candidates: readonly Candidate[]): Candidate | null {
  const sorted = [...candidates].sort((x, y) => y.equalNames - x.equalNames || compareCandidates(x, y));
  const [first, second] = sorted as [Candidate, Candidate];
  const clear =
    first.equalNames >= 3 && first.equalNames >= second.equalNames + 2 && first.equalNames >= 0.75 * first.pairs.length;
  return clear ? first : null;
}

function rivalOf(h: Candidate, query: TargetCloud, reference: TargetCloud, swapped: boolean): TargetRival {
  const [a, b] = swapped ? [reference, query] : [query, reference];
  const pairs = h.pairs.map(([i, k]): [number, number] => (swapped ? [k, i] : [i, k]));
  const fit = adjustOrientation(
    pairs.map(([i]) => pointAt(a, i)),
    pairs.map(([, k]) => pointAt(b, k)),
    {
      sourceCovariances: pairs.map(([i]) => isotropicCovariance(a.sigma[i])),
      targetCovariances: pairs.map(([, k]) => isotropicCovariance(b.sigma[k])),
    },
  );
  return {
    bFromA: uncentre(fit.targetFromSource, a, b),
    pairs: pairs.map(([i, k]) => [a.order[i] as number, b.order[k] as number] as const),
  };
}

function pointAt(cloud: TargetCloud, i: number): Vec3 {
  return [cloud.points[3 * i], cloud.points[3 * i + 1], cloud.points[3 * i + 2]];
}

function uncentre(centred: Pose, a: TargetCloud, b: TargetCloud): Pose {
  const moved = transformPoint(centred, [-a.centroid[0], -a.centroid[1], -a.centroid[2]]);
  return {
    rotation: centred.rotation,
    translation: [moved[0] + b.centroid[0], moved[1] + b.centroid[1], moved[2] + b.centroid[2]],
  };
}

function conclude(
  chosen: Candidate,
  clouds: { a: TargetCloud; b: TargetCloud; query: TargetCloud; reference: TargetCloud; swapped: boolean },
  lists: { targetsA: readonly Target[]; targetsB: readonly Target[] },
  margin: number,
  rivals: readonly TargetRival[],
): TargetMatch {
  const { a, b, query, reference, swapped } = clouds;
  const indices = chosen.pairs
    .map(([i, k]): [number, number] => (swapped ? [k, i] : [i, k]))
    .sort((x, y) => x[0] - y[0]);
  const fit = adjustOrientation(
    indices.map(([i]) => pointAt(a, i)),
    indices.map(([, k]) => pointAt(b, k)),
    {
      sourceCovariances: indices.map(([i]) => isotropicCovariance(a.sigma[i])),
      targetCovariances: indices.map(([, k]) => isotropicCovariance(b.sigma[k])),
    },
  );
  const varianceFactor = fit.weightedSumSquares / fit.redundancy;
  const enlarged = Math.max(1, varianceFactor);
  const pairs = indices.map(([i, k], n): TargetPair => {
    const [ia, ib] = [a.order[i] as number, b.order[k] as number];
    const test = fit.pointTests[n] as number;
    return {
      a: ia,
      b: ib,
      nameA: (lists.targetsA[ia] as Target).name,
      nameB: (lists.targetsB[ib] as Target).name,
      residual: fit.residuals[n] as Vec3,
      pointTest: Number.isNaN(test) ? null : test,
    };
  });
  const usedA = new Set(pairs.map((p) => p.a));
  const usedB = new Set(pairs.map((p) => p.b));
  const conflicts = listNameConflicts(query, reference, chosen.pairs, swapped);
  const equal = chosen.equalNames;
  const names =
    equal === 0 && conflicts.length === 0
      ? 'none'
      : conflicts.length === 0
        ? 'agree'
        : equal > conflicts.length
          ? 'partly'
          : 'ignored';
  const rms = Math.sqrt(fit.residuals.reduce((sum, r) => sum + r[0] ** 2 + r[1] ** 2 + r[2] ** 2, 0) / pairs.length);
  return {
    status: 'matched',
    reason: null,
    message: `${pairs.length} common targets, rms ${Number(rms.toPrecision(3))} mm.`,
    remedy: '',
    bFromA: uncentre(fit.targetFromSource, a, b),
    covariance: fit.covariance ? Array.from(fit.covariance, (c) => c * enlarged) : null,
    reference: [fit.reference[0] + b.centroid[0], fit.reference[1] + b.centroid[1], fit.reference[2] + b.centroid[2]],
    pairs: [...pairs].sort((x, y) => x.a - y.a),
    rms,
    varianceFactor,
    redundancy: fit.redundancy,
    margin,
    rivals,
    unmatchedA: lists.targetsA.flatMap((_, i) => (usedA.has(i) ? [] : [i])),
    unmatchedB: lists.targetsB.flatMap((_, i) => (usedB.has(i) ? [] : [i])),
    names,
    nameConflicts: names === 'ignored' ? [] : conflicts,
  };
}
