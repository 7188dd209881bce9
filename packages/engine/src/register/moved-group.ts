import type { RunContext } from '../base/index.ts';
import { invert, type Pose } from '../math/index.ts';
import { findCoarsePoses } from './coarse-poses.ts';
import { countBeyond, type ScreenedSample, screenSample } from './moved-part-regions.ts';
import type { PreparedScan } from './prepared-scan.ts';
import { recentred } from './recentred-scan.ts';
import { refinePose } from './refine-pose.ts';
import type { RefinedPose } from './refined-pose.ts';
import { releaseScanPointIndex, scanPointIndex } from './scan-point-index.ts';
import { pickPoints } from './thin-scan.ts';

/** Points of two scans that fit each other under a pose far from that of the rest. */
export interface MovedGroup {
  readonly ofFirst: Uint32Array;
  readonly ofSecond: Uint32Array;
  /** `firstFromSecond` of the group. */
  readonly fit: RefinedPose;
}

/** Share of both scans' samples that must contradict the rest before a far motion is searched for. */
const LEAST_CONTRADICTING = 0.05;
/** How far a surface that contradicts is looked for, as a share of the smaller scan's radius. */
const REACH_SHARE = 0.3;
/** Share of the smaller leftover that the group must explain. */
const LEAST_EXPLAINED = 0.3;

/**
 * Looks for a second group of surface that moved far between two scans: the object turned before its background, or the
 * background behind the object.
 *
 * Method   what the rest does not explain in either scan is matched without a guess, then refined. It is a group when it
 *          explains a good part of what was left, and when the rest had put half of it where the other scan has another
 *          surface: what one scan merely did not see is no contradiction, so a symmetric object is none.
 * Cost     a screening; a search without a guess only where a twentieth of both scans contradicts.
 *
 * @param taken 1 for points that belong to parts already found, of `first` and `second`
 */
export async function findMovedGroup(
  first: PreparedScan,
  second: PreparedScan,
  rest: Pose,
  limit: number,
  sampleCount: number,
  taken: readonly Uint8Array[],
  context: RunContext,
): Promise<MovedGroup | null> {
  const reach = REACH_SHARE * Math.min(first.radius, second.radius);
  const seen = [
    screenSample(first, second, invert(rest), sampleCount, reach),
    screenSample(second, first, rest, sampleCount, reach),
  ];
  if (seen.some((screened) => countBeyond(screened, limit) < LEAST_CONTRADICTING * screened.count)) return null;
  const left = [first, second].map((scan, side) =>
    pointsWhere(scan, seen[side], (d) => !(d <= limit)).filter((point) => taken[side][point] === 0),
  );
  if (left.some((points, side) => points.length < 0.05 * [first, second][side].border.length)) return null;
  const [target, source] = [first, second].map((scan, side) => recentred(pickPoints(scan, left[side], scan.spacing)));
  try {
    const coarse = await findCoarsePoses(source, target, {}, context);
    if (coarse.status !== 'accepted') return null;
    const start = coarse.poses[0].targetFromSource;
    const fit = await refinePose(source, target, { start, minimumOverlap: LEAST_EXPLAINED }, context);
    if (fit.status !== 'converged' && fit.status !== 'degenerate') return null;
    const pose = fit.targetFromSource;
    const fits = [
      screenSample(target, source, invert(pose), sampleCount, 3 * Math.max(first.spacing, second.spacing)),
      screenSample(source, target, pose, sampleCount, 3 * Math.max(first.spacing, second.spacing)),
    ];
    const group = [target, source].map((scan, side) => pointsWhere(scan, fits[side], (d) => d <= limit));
    const isExplained = group.some((points, side) => points.length >= LEAST_EXPLAINED * left[side].length);
    const [ofFirst, ofSecond] = group.map((points, side) => points.map((point) => left[side][point]));
    if (!isExplained || ofFirst.length === 0 || ofSecond.length === 0) return null;
    const contradicts = [first, second].every((scan, side) => {
      const points = new Set(pointsWhere(scan, seen[side], (d) => d > limit));
      const own = side === 0 ? ofFirst : ofSecond;
      return own.filter((point) => points.has(point)).length >= 0.5 * own.length;
    });
    return contradicts ? { ofFirst, ofSecond, fit } : null;
  } finally {
    releaseScanPointIndex(source);
    releaseScanPointIndex(target);
  }
}

/** Points whose nearest sample has a distance that is wanted, ascending. */
function pointsWhere(
  scan: PreparedScan,
  screened: ScreenedSample,
  isWanted: (distance: number) => boolean,
): Uint32Array {
  const count = scan.border.length;
  const nearest = nearestSamples(scan, screened);
  return Uint32Array.from({ length: count }, (_, i) => i).filter((i) => isWanted(screened.distances[nearest[i]]));
}

function nearestSamples(scan: PreparedScan, screened: ScreenedSample): Int32Array {
  const nearest = new Int32Array(scan.border.length);
  const index = scanPointIndex({ positions: screened.samples });
  index.nearest(scan.positions, Infinity, nearest, new Float32Array(nearest.length));
  releaseScanPointIndex({ positions: screened.samples });
  return nearest;
}
