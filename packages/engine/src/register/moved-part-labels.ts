import { buildPointIndex } from '../geometry/index.ts';
import { invert, type Pose } from '../math/index.ts';
import { fitToEdges, type SurfaceFit } from './moved-part-fit.ts';
import { shiftsAcross } from './moved-part-shifts.ts';
import type { PreparedScan } from './prepared-scan.ts';
import { motionOf, movePoints, toLocalPose, turnDirections } from './rigid-motion.ts';
import { releaseScanPointIndex } from './scan-point-index.ts';
import { pickPoints } from './thin-scan.ts';

/** Label of a point: the motion that explains it. 0 is open. */
export const PART = 1;
export const REST = -1;

/** One scan of the pair while its points are told apart. */
export interface LabelledScan {
  readonly scan: PreparedScan;
  /** Points that may belong to the part, ascending; all others are of the rest. */
  readonly zone: Uint32Array;
  /** One a point of the scan. */
  readonly labels: Int8Array;
}

/** A scan with the points that both motions put at one place: those that moved along the surface, or hardly. */
interface Side extends LabelledScan {
  readonly isUntellable: Uint8Array;
  /** The points that can be told. */
  readonly asked: Uint32Array;
}

/** The two motions between the scans and how well distances are known. */
export interface TwoMotions {
  /** `secondFromFirst` of the rest and of the part. */
  readonly rest: Pose;
  readonly part: Pose;
  /** Standard deviation of a distance, mm. */
  readonly sigma: number;
}

/** Beyond five standard deviations a distance says no more. */
const MOST_DISTANCE = 25;
/** Neighbours that scatter by more standard deviations than this about a quadric run across an edge or across both sides. */
const ROUGH = 2.5;
/** Up to four standard deviations a point is explained. */
const EXPLAINED = 16;
/** Beyond some spacings outside the data an offset says no more. */
const MOST_OFFSET = 100;
/** Offset from the middle of the data, in spacings, that counts as one standard deviation. */
const OFFSET_SIGMA = 0.7;
/** Difference of the two misfits (twice a log likelihood ratio) from which a point is decided: 20 to 1. */
const DECIDED = 6;
/** Width of the seam between the labels that is looked at again, in spacings. */
const SEAM = 5;
const ROUNDS = 4;

/**
 * Tells for every point of the zones of two scans which of two motions explains it.
 *
 * Method   the misfit under each motion is the distance from the other scan's surface and, where that ends, how far beyond its
 *          edge. At first against all points of the other scan; there a surface near the seam runs across both sides. Then
 *          against the points already told apart, so that either side is continued to its own edge; the seam closes from both
 *          sides. What stays open has moved less than the noise, or is seen once: it goes with its nearest neighbour.
 * Repeats  bit for bit.
 *
 * @param isFirst whether nothing is told apart yet; else only the seam is looked at again
 */
export function labelPoints(
  firstScan: LabelledScan,
  secondScan: LabelledScan,
  motions: TwoMotions,
  isFirst: boolean,
): void {
  const first = sideOf(firstScan, motions.rest, motions.part, motions.sigma);
  const second = sideOf(secondScan, invert(motions.rest), invert(motions.part), motions.sigma);
  for (let round = isFirst ? 0 : 1; round < (isFirst ? ROUNDS : 2); round++) {
    const surfaces = [first, second].map((side) =>
      round === 0 ? { rest: side.scan, part: side.scan } : { rest: labelled(side, REST), part: labelled(side, PART) },
    );
    const updates = [
      evidenceFor(first, second.scan, surfaces[1], motions.rest, motions.part, motions.sigma, round),
      evidenceFor(second, first.scan, surfaces[0], invert(motions.rest), invert(motions.part), motions.sigma, round),
    ];
    for (const [index, side] of [first, second].entries()) {
      const { points, evidence } = updates[index];
      for (let p = 0; p < points.length; p++) {
        const e = evidence[p];
        side.labels[points[p]] = e > DECIDED ? PART : e < -DECIDED ? REST : 0;
      }
      if (round > 0) for (const surface of [surfaces[index].rest, surfaces[index].part]) releaseScanPointIndex(surface);
    }
  }
  for (const side of [first, second]) decideOpen(side);
}

/** Distance across the surface, in standard deviations, below which two places are one. */
const TELLABLE = 3;

function sideOf(labelledScan: LabelledScan, rest: Pose, part: Pose, sigma: number): Side {
  const { scan, zone, labels } = labelledScan;
  const isUntellable = new Uint8Array(labels.length);
  const across = shiftsAcross(scan, zone, rest, part);
  for (let z = 0; z < zone.length; z++) {
    if (Math.abs(across[z]) >= TELLABLE * sigma) continue;
    isUntellable[zone[z]] = 1;
    labels[zone[z]] = 0;
  }
  return { ...labelledScan, isUntellable, asked: zone.filter((point) => isUntellable[point] === 0) };
}

/** The points of one label in the zone, with those that both motions put at one place. */
function labelled({ scan, zone, labels, isUntellable }: Side, label: number): PreparedScan {
  const chosen = zone.filter((point) => labels[point] === label || isUntellable[point] === 1);
  return pickPoints(scan, chosen, scan.spacing);
}

function evidenceFor(
  side: Side,
  other: PreparedScan,
  surfaces: { readonly rest: PreparedScan; readonly part: PreparedScan },
  rest: Pose,
  part: Pose,
  sigma: number,
  round: number,
): { readonly points: Uint32Array; readonly evidence: Float64Array } {
  const points = round === 0 ? side.asked : seamOf(side);
  const spacing = Math.max(side.scan.spacing, other.spacing);
  const underRest = misfits(side.scan, points, surfaces.rest, rest, sigma, spacing);
  const underPart = misfits(side.scan, points, surfaces.part, part, sigma, spacing);
  const evidence = underRest.sums.map((value, i) => value - underPart.sums[i]);
  // A motion must explain a point to have it: where neither does, as along sharp edges, the difference is chance.
  for (let p = 0; p < points.length; p++) {
    const isExplained = (evidence[p] > 0 ? underPart : underRest).distances[p] <= EXPLAINED;
    if (!isExplained || underRest.isRough[p] === 1 || underPart.isRough[p] === 1) evidence[p] = 0;
  }
  return { points, evidence };
}

/** Twice the negative log likelihood of each point on the other's surface at a pose: all of it, and that of its distance. */
function misfits(
  own: PreparedScan,
  points: Uint32Array,
  other: PreparedScan,
  otherFromOwn: Pose,
  sigma: number,
  spacing: number,
): { readonly sums: Float64Array; readonly distances: Float64Array; readonly isRough: Uint8Array } {
  const places = new Float64Array(3 * points.length);
  const normals = new Float64Array(3 * points.length);
  for (let p = 0; p < points.length; p++) {
    const at = 3 * points[p];
    places.set(own.positions.subarray(at, at + 3), 3 * p);
    normals.set(own.normals.subarray(at, at + 3), 3 * p);
  }
  const motion = motionOf(toLocalPose(otherFromOwn, other, own));
  movePoints(motion, places, places);
  turnDirections(motion, normals, normals);
  const fit: SurfaceFit = fitToEdges(other, places, normals, own.oriented && other.oriented, spacing);
  const sums = new Float64Array(points.length);
  const distances = new Float64Array(points.length);
  const isRough = new Uint8Array(points.length);
  for (let p = 0; p < points.length; p++) {
    const d = fit.distances[p] / sigma;
    const o = fit.offsets[p] / (OFFSET_SIGMA * spacing);
    if (fit.roughness[p] > ROUGH * sigma) isRough[p] = 1;
    distances[p] = Number.isNaN(d) ? MOST_DISTANCE : Math.min(d * d, MOST_DISTANCE);
    sums[p] = distances[p] + (Number.isNaN(d) ? MOST_OFFSET : Math.min(o * o, MOST_OFFSET));
  }
  return { sums, distances, isRough };
}

/** Points of the zone that are open or near a point of the other label. */
function seamOf(side: Side): Uint32Array {
  const { scan, asked: zone, labels } = side;
  const reach = SEAM * scan.spacing;
  const isNear = [PART, REST].map((label) => {
    const chosen = labelled(side, label);
    const found = new Int32Array(zone.length).fill(-1);
    if (chosen.border.length > 0) {
      const index = buildPointIndex(chosen.positions);
      index.nearest(positionsOf(scan, zone), reach, found, new Float32Array(zone.length));
      index.dispose();
    }
    return found;
  });
  return zone.filter((point, z) => {
    const label = labels[point];
    return label === 0 || (label === PART ? isNear[1] : isNear[0])[z] >= 0;
  });
}

function positionsOf(scan: PreparedScan, points: Uint32Array): Float32Array {
  const out = new Float32Array(3 * points.length);
  for (let p = 0; p < points.length; p++) out.set(scan.positions.subarray(3 * points[p], 3 * points[p] + 3), 3 * p);
  return out;
}

/** Decided neighbours that say what an open point is; farther than the seam is wide, they say nothing: it is of the rest. */
const VOTES = 8;

/** Open points take the label of most decided ones around; bits of the part that hang together with nothing go back. */
function decideOpen(side: Side): void {
  const { scan, zone, labels } = side;
  dropPieces(side, PART, PIECE_SHARE);
  const decided: number[] = [];
  for (let i = 0; i < labels.length; i++) if (labels[i] !== 0) decided.push(i);
  const open = zone.filter((point) => labels[point] === 0);
  if (decided.length > 0 && open.length > 0) {
    const taken = new Int8Array(open.length);
    const index = buildPointIndex(positionsOf(scan, Uint32Array.from(decided)));
    const found = new Int32Array(VOTES * open.length);
    const squared = new Float32Array(VOTES * open.length);
    index.kNearest(positionsOf(scan, open), VOTES, found, squared);
    index.dispose();
    const reach = (SEAM * scan.spacing) ** 2;
    for (let o = 0; o < open.length; o++) {
      let sum = 0;
      for (let v = VOTES * o; v < VOTES * (o + 1); v++) {
        if (found[v] >= 0 && squared[v] <= reach) sum += labels[decided[found[v]]];
      }
      taken[o] = sum > 0 ? PART : REST;
    }
    for (let o = 0; o < open.length; o++) labels[open[o]] = taken[o];
  }
  for (const label of [PART, REST] as const) dropPieces(side, label, SPECK_SHARE);
}

/** Pieces of a part smaller than this share of the largest are no part: misfits along an edge. */
const PIECE_SHARE = 0.1;
/** Share of the largest piece below which a piece of a label is a speck. */
const SPECK_SHARE = 0.02;

/** Gives small connected pieces of a label to the other. */
function dropPieces({ scan, zone, labels }: LabelledScan, label: typeof PART | typeof REST, leastShare: number): void {
  const points = zone.filter((point) => labels[point] === label);
  if (points.length === 0) return;
  const coordinates = positionsOf(scan, points);
  const index = buildPointIndex(coordinates);
  const { offsets, indices } = index.withinRadius(coordinates, 2.5 * scan.spacing);
  index.dispose();
  const piece = new Int32Array(points.length).fill(-1);
  const sizes: number[] = [];
  for (let seed = 0; seed < points.length; seed++) {
    if (piece[seed] >= 0) continue;
    const open = [seed];
    piece[seed] = sizes.length;
    let size = 0;
    for (let p = open.pop(); p !== undefined; p = open.pop()) {
      size++;
      for (let e = offsets[p]; e < offsets[p + 1]; e++) {
        if (piece[indices[e]] >= 0) continue;
        piece[indices[e]] = sizes.length;
        open.push(indices[e]);
      }
    }
    sizes.push(size);
  }
  const least = leastShare * Math.max(...sizes);
  for (let p = 0; p < points.length; p++) {
    if (sizes[piece[p]] < least) labels[points[p]] = -label;
  }
}
