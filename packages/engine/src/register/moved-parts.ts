import type { RunContext } from '../base/index.ts';
import { compose, distance, IDENTITY_POSE, invert, type Pose, rotationAngle, transformPoint } from '../math/index.ts';
import { measureOverlap } from './measure-overlap.ts';
import { findMovedGroup } from './moved-group.ts';
import type { FindMovedPartsOptions, MovedPart } from './moved-part.ts';
import { type LabelledScan, labelPoints, PART } from './moved-part-labels.ts';
import { countBeyond, regionsBeyond, screenSample } from './moved-part-regions.ts';
import { shiftsAcross } from './moved-part-shifts.ts';
import { placesOf, zoneAround } from './moved-part-zone.ts';
import { compareScans } from './pair-order.ts';
import type { PreparedScan } from './prepared-scan.ts';
import { middleOf, recentred } from './recentred-scan.ts';
import { refinePose } from './refine-pose.ts';
import type { RefinedPose } from './refined-pose.ts';
import { TUKEY_CONSTANT } from './robust-scale.ts';
import { releaseScanPointIndex } from './scan-point-index.ts';
import { pickPoints } from './thin-scan.ts';

/** Points of a region below which no pose of its own is sought. */
const MINIMUM_POINTS = 100;
/** Share of a part's points that must have moved farther than the limit of what the rest explains. */
const LEAST_MOVED_SHARE = 0.5;

/** 4000 samples: a part of one per cent still has forty. */
export const FIND_MOVED_PARTS_DEFAULTS: FindMovedPartsOptions = {
  sampleCount: 4000,
  maxShift: 0,
  minimumShare: 0.01,
  mostParts: 4,
  exclude: null,
};

/** A part while it is found: `second` moves, `first` stays. */
interface FoundPart {
  readonly ofFirst: Uint32Array;
  readonly ofSecond: Uint32Array;
  readonly fit: RefinedPose;
}

/** What the search goes by. */
interface Search {
  readonly first: PreparedScan;
  readonly second: PreparedScan;
  readonly rest: Pose;
  /** Standard deviation of distances where nothing moved, and what the rest explains at most, mm. */
  readonly scale: number;
  readonly limit: number;
  readonly settings: FindMovedPartsOptions;
}

/**
 * Looks for regions of an overlap that fit another rigid motion than the rest: a door that stood elsewhere.
 *
 * Frames   `bFromA` is the pose of the rest, for example from `refinePose`.
 * Method   points of either scan that the pose does not explain but that have the other scan near are gathered into connected
 *          regions; each region is aligned by itself with what is unexplained of the other scan. Then every point around it is
 *          told apart by which of the two motions explains it (`labelPoints`), the part's motion is found again from all its
 *          points, and they are told apart once more. It counts as moved when it then fits as the rest does and half of it has
 *          moved farther than the rest explains.
 * Cost     one measured overlap and one screening where the residuals are plainly noise: fewer samples beyond the limit in
 *          either scan than the smallest part has.
 * Limits   parts that moved up to `maxShift`; beyond, only one group that is large and has shape (`findMovedGroup`), told apart
 *          no finer than the samples. Points that moved less than three standard deviations of a distance go with their
 *          neighbours. A part that moved along its own surface leaves no trace.
 * Repeats  bit for bit; swapped roles give the inverse.
 */
export async function findMovedParts(
  a: PreparedScan,
  b: PreparedScan,
  bFromA: Pose,
  options: Partial<FindMovedPartsOptions>,
  context: RunContext,
): Promise<MovedPart[]> {
  const bIsFirst = compareScans(b, a) <= 0;
  const [first, second] = bIsFirst ? [b, a] : [a, b];
  const rest = bIsFirst ? bFromA : invert(bFromA);
  const settings = { ...FIND_MOVED_PARTS_DEFAULTS, ...options };
  const maxShift = settings.maxShift > 0 ? settings.maxShift : 0.1 * Math.min(a.radius, b.radius);
  const { exclude } = settings;
  const { scale } = await measureOverlap(a, b, bFromA, { exclude }, context);
  const limit = Math.max(TUKEY_CONSTANT * scale, 0.1 * Math.max(a.spacing, b.spacing));
  const search: Search = { first, second, rest, scale, limit, settings };
  const found = await searchOrdered(search, maxShift, context);
  return found.map((part) => describePart(part, a, bFromA, bIsFirst));
}

async function searchOrdered(search: Search, maxShift: number, context: RunContext): Promise<FoundPart[]> {
  const { first, second, rest, limit, settings } = search;
  const screenedSecond = screenSample(second, first, rest, settings.sampleCount, maxShift);
  const least = settings.minimumShare * screenedSecond.count;
  if (countBeyond(screenedSecond, limit) < least) return [];
  const screenedFirst = screenSample(first, second, invert(rest), settings.sampleCount, maxShift);
  const unexplained = merge(regionsBeyond(first, screenedFirst, limit));
  const regions = regionsBeyond(second, screenedSecond, limit);
  const taken = [new Uint8Array(first.border.length), new Uint8Array(second.border.length)];
  const parts: FoundPart[] = [];
  for (const [number, region] of regions.entries()) {
    await context.checkpoint((number + 1) / (regions.length + 1), 'looking for moved parts');
    if (parts.length >= settings.mostParts) break;
    const left = region.filter((point) => taken[1][point] === 0);
    const target = unexplained.filter((point) => taken[0][point] === 0);
    if (!isLarge(left, second, settings) || target.length < MINIMUM_POINTS) continue;
    const part = await followRegion(search, left, target, taken, context.part(0, 0));
    if (part === null) continue;
    for (const point of part.ofFirst) taken[0][point] = 1;
    for (const point of part.ofSecond) taken[1][point] = 1;
    await enterPart(search, parts, part, context.part(0, 0));
  }
  const group = await findMovedGroup(first, second, rest, limit, settings.sampleCount, taken, context.part(1, 1));
  if (group !== null) parts.push(group);
  return parts;
}

/** Adds a part, or joins it to one that moved alike: where a part crosses its old place it comes in several regions. */
async function enterPart(search: Search, parts: FoundPart[], part: FoundPart, context: RunContext): Promise<void> {
  const alike = parts.findIndex((known) => movedAlike(search, part, known));
  if (alike < 0) {
    parts.push(part);
    return;
  }
  const known = parts[alike];
  const ofFirst = merge([known.ofFirst, part.ofFirst]);
  const ofSecond = merge([known.ofSecond, part.ofSecond]);
  const fit = await alignAlone(search, ofFirst, ofSecond, known.fit.targetFromSource, context);
  if (fit === null) parts.push(part);
  else parts[alike] = { ofFirst, ofSecond, fit };
}

/** Whether the motion of a known part brings nearly all points of another one where its own motion does. */
function movedAlike({ second, limit }: Search, part: FoundPart, known: FoundPart): boolean {
  const gaps = shiftsAcross(second, part.ofSecond, known.fit.targetFromSource, part.fit.targetFromSource);
  return gaps.filter((gap) => Math.abs(gap) > limit).length <= 0.1 * gaps.length;
}

function isLarge(points: Uint32Array, scan: PreparedScan, settings: FindMovedPartsOptions): boolean {
  return points.length >= Math.max(MINIMUM_POINTS, settings.minimumShare * scan.border.length);
}

/** The part that a region of the second scan belongs to, or null where no other rigid motion explains it. */
async function followRegion(
  search: Search,
  region: Uint32Array,
  target: Uint32Array,
  taken: readonly Uint8Array[],
  context: RunContext,
): Promise<FoundPart | null> {
  const { first, second, rest, settings } = search;
  let fit = await alignAlone(search, target, region, rest, context);
  if (fit === null || !hasMoved(search, region, fit.targetFromSource)) return null;
  let ofFirst = target;
  let ofSecond = region;
  const ownFirst = zoneAround(first, placesOf(second, region, first, fit.targetFromSource), taken[0]);
  const ownSecond = zoneAround(second, placesOf(second, region, second, IDENTITY_POSE), taken[1]);
  for (const isFirst of [true, false]) {
    const motions = { rest: invert(rest), part: invert(fit.targetFromSource), sigma: search.scale };
    labelPoints(ownFirst, ownSecond, motions, isFirst);
    ofFirst = partOf(ownFirst);
    ofSecond = partOf(ownSecond);
    if (!isLarge(ofSecond, second, settings) || ofFirst.length < MINIMUM_POINTS) return null;
    fit = await alignAlone(search, ofFirst, ofSecond, fit.targetFromSource, context);
    if (fit === null) return null;
  }
  return hasMoved(search, ofSecond, fit.targetFromSource) ? { ofFirst, ofSecond, fit } : null;
}

/** Pose of some points of the second scan on some of the first; null where they do not fit as the rest does. */
async function alignAlone(
  search: Search,
  ofFirst: Uint32Array,
  ofSecond: Uint32Array,
  start: Pose,
  context: RunContext,
): Promise<RefinedPose | null> {
  const { first, second, scale } = search;
  const source = recentred(pickPoints(second, ofSecond, second.spacing));
  const target = recentred(pickPoints(first, ofFirst, first.spacing));
  const fit = await refinePose(source, target, { start, minimumOverlap: 0.3 }, context);
  releaseScanPointIndex(source);
  releaseScanPointIndex(target);
  if (fit.status !== 'converged' && fit.status !== 'degenerate') return null;
  return fit.rms > 3 * Math.max(fit.expectedRms, scale) ? null : fit;
}

/** Whether enough of the points lie, across the surface, farther from where the rest has them than the rest explains. */
function hasMoved({ second, rest, limit }: Search, points: Uint32Array, part: Pose): boolean {
  const movedCount = shiftsAcross(second, points, rest, part).filter((shift) => Math.abs(shift) > limit).length;
  return movedCount >= LEAST_MOVED_SHARE * points.length;
}

function describePart(part: FoundPart, a: PreparedScan, bFromA: Pose, bIsFirst: boolean): MovedPart {
  const points = bIsFirst ? part.ofSecond : part.ofFirst;
  const pointsOfB = bIsFirst ? part.ofFirst : part.ofSecond;
  const moved = part.fit.targetFromSource;
  const partPose = bIsFirst ? moved : invert(moved);
  const own = middleOf(pickPoints(a, points, a.spacing));
  const middle = transformPoint(bFromA, own);
  return {
    points,
    pointsOfB,
    share: points.length / a.border.length,
    middle,
    bFromA: partPose,
    angle: rotationAngle(compose(partPose, invert(bFromA)).rotation),
    shift: distance(middle, transformPoint(partPose, own)),
    rms: part.fit.rms,
    freeDirections: part.fit.freeDirections,
  };
}

function partOf({ zone, labels }: LabelledScan): Uint32Array {
  return zone.filter((point) => labels[point] === PART);
}

function merge(regions: readonly Uint32Array[]): Uint32Array {
  return Uint32Array.from(regions.flatMap((region) => Array.from(region))).sort();
}
