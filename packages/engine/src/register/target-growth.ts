import {
  absoluteOrientation,
  chiSquareQuantile,
  invertSymmetric3,
  type Matrix3,
  type Pose,
  rotate,
  type Vec3,
} from '../math/index.ts';
import { doubleDistance, type TargetCloud } from './target-cloud.ts';

/** A set of target pairs that one motion explains. */
export interface TargetHypothesis {
  /** Canonical indices [query, reference], ascending by query. */
  readonly pairs: readonly (readonly [number, number])[];
  /** Between the centred lists. */
  readonly referenceFromQuery: Pose;
  /** Sum of squared residuals in units of their variances. */
  readonly weightedSumSquares: number;
}

/** Squared distance in units of the covariance within which a target counts as met: chi-square, 3 dof, one in 10 000 lost. */
export const TARGET_GATE: number = chiSquareQuantile(1e-4, 3);
/** A set of pairs has to fit as a whole, too; one good set in a million is thinned by this. */
const SET_SIGNIFICANCE = 1e-6;
const LARGEST_ROUND_COUNT = 20;

/** Finds the reference targets near a place. */
export class TargetGrid {
  readonly cloud: TargetCloud;
  readonly #cells = new Map<number, number[]>();
  readonly #size: number;
  readonly #least: readonly number[];
  readonly #count: readonly number[];

  constructor(cloud: TargetCloud) {
    this.cloud = cloud;
    const least = [0, 0, 0];
    const most = [0, 0, 0];
    for (let i = 0; i < 3 * cloud.count; i++) {
      least[i % 3] = Math.min(least[i % 3] as number, cloud.points[i]);
      most[i % 3] = Math.max(most[i % 3] as number, cloud.points[i]);
    }
    // No finer than a thousandth of the extent, so that a cell number stays a whole number.
    const extent = Math.max(...most.map((m, k) => m - (least[k] as number)));
    this.#size = Math.max(cloud.spacing, 16 * cloud.largestSigma, extent / 1000) || 1;
    this.#least = least;
    this.#count = most.map((m, k) => Math.floor((m - (least[k] as number)) / this.#size) + 1);
    for (let i = 0; i < cloud.count; i++) {
      const [x, y, z] = [0, 1, 2].map((k) => this.#cell(cloud.points[3 * i + k], k)) as [number, number, number];
      const key = this.#key(x, y, z);
      const cell = this.#cells.get(key);
      if (cell) cell.push(i);
      else this.#cells.set(key, [i]);
    }
  }

  #cell(value: number, axis: number): number {
    return Math.floor((value - (this.#least[axis] as number)) / this.#size);
  }

  #key(x: number, y: number, z: number): number {
    return (x * (this.#count[1] as number) + y) * (this.#count[2] as number) + z;
  }

  /** Puts the targets of all cells that a ball touches into `out`; returns how many. */
  near(at: Vec3, radius: number, out: Int32Array): number {
    const from = [0, 1, 2].map((k) => Math.max(0, this.#cell((at[k] as number) - radius, k)));
    const to = [0, 1, 2].map((k) =>
      Math.min((this.#count[k] as number) - 1, this.#cell((at[k] as number) + radius, k)),
    );
    let found = 0;
    for (let x = from[0] as number; x <= (to[0] as number); x++) {
      for (let y = from[1] as number; y <= (to[1] as number); y++) {
        for (let z = from[2] as number; z <= (to[2] as number); z++) {
          const cell = this.#cells.get(this.#key(x, y, z));
          if (cell) for (const i of cell) out[found++] = i;
        }
      }
    }
    return found;
  }
}

/** A pose between centred lists with what is needed to predict how well it places a point. */
export interface PlacedQuery {
  readonly pose: Pose;
  readonly centre: Vec3;
  readonly totalWeight: number;
  /** Covariance of the rotation at the centre. */
  readonly rotationCovariance: Matrix3;
  readonly weightedSumSquares: number;
  readonly squaredResiduals: Float64Array;
}

const pointOf = (cloud: TargetCloud, i: number): Vec3 => [
  cloud.points[3 * i],
  cloud.points[3 * i + 1],
  cloud.points[3 * i + 2],
];

/** Pose of the pairs, closed form, and its covariance; null when the pairs leave a rotation free. */
export function placeQuery(
  query: TargetCloud,
  reference: TargetCloud,
  pairs: readonly (readonly [number, number])[],
): PlacedQuery | null {
  const weights = pairs.map(([i, k]) => 1 / (query.sigma[i] ** 2 + reference.sigma[k] ** 2));
  const fit = absoluteOrientation(
    pairs.map(([i]) => pointOf(query, i)),
    pairs.map(([, k]) => pointOf(reference, k)),
    { weights },
  );
  if (fit.rank < 6) return null;
  const moments = new Float64Array(9);
  let totalWeight = 0;
  pairs.forEach(([, k], n) => {
    const p = pointOf(reference, k);
    const a = [0, 1, 2].map((d) => (p[d] as number) - (fit.targetCentroid[d] as number));
    const w = weights[n] as number;
    totalWeight += w;
    const square = (a[0] as number) ** 2 + (a[1] as number) ** 2 + (a[2] as number) ** 2;
    for (let r = 0; r < 3; r++) {
      for (let c = 0; c < 3; c++)
        moments[3 * r + c] += w * ((r === c ? square : 0) - (a[r] as number) * (a[c] as number));
    }
  });
  const rotationCovariance = invertSymmetric3(Array.from(moments) as unknown as Matrix3);
  if (!rotationCovariance) return null;
  return {
    pose: fit.targetFromSource,
    centre: fit.targetCentroid,
    totalWeight,
    rotationCovariance,
    weightedSumSquares: fit.sumSquares,
    squaredResiduals: Float64Array.from(
      fit.residuals,
      (r, n) => (weights[n] as number) * (r[0] ** 2 + r[1] ** 2 + r[2] ** 2),
    ),
  };
}

/** Covariance of a placed query point: what the pose adds at its lever arm, plus a variance of its own. */
function predictedCovariance(placed: PlacedQuery, at: Vec3, own: number): Matrix3 {
  const m = placed.rotationCovariance;
  const [x, y, z] = [at[0] - placed.centre[0], at[1] - placed.centre[1], at[2] - placed.centre[2]];
  // rows of [a]x: dp = r x a = -[a]x r
  const rows: Vec3[] = [
    [0, z, -y],
    [-z, 0, x],
    [y, -x, 0],
  ];
  const product = (a: Vec3, b: Vec3): number => {
    let sum = 0;
    for (let i = 0; i < 3; i++)
      for (let j = 0; j < 3; j++) sum += (a[i] as number) * (m[3 * i + j] as number) * (b[j] as number);
    return sum;
  };
  const base = 1 / placed.totalWeight + own;
  const [r0, r1, r2] = rows as [Vec3, Vec3, Vec3];
  const [xy, xz, yz] = [product(r0, r1), product(r0, r2), product(r1, r2)];
  return [product(r0, r0) + base, xy, xz, xy, product(r1, r1) + base, yz, xz, yz, product(r2, r2) + base];
}

/** Squared distance of a placed query target from a reference target, in units of its covariance. */
export function squaredTargetDistance(
  query: TargetCloud,
  reference: TargetCloud,
  placed: PlacedQuery,
  i: number,
  k: number,
): number {
  const at = movePoint(placed.pose, pointOf(query, i));
  const inverse = invertSymmetric3(predictedCovariance(placed, at, query.sigma[i] ** 2 + reference.sigma[k] ** 2));
  return inverse ? quadratic(inverse, at, pointOf(reference, k)) : Number.POSITIVE_INFINITY;
}

function quadratic(m: Matrix3, a: Vec3, b: Vec3): number {
  const [x, y, z] = [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
  return m[0] * x * x + m[4] * y * y + m[8] * z * z + 2 * (m[1] * x * y + m[2] * x * z + m[5] * y * z);
}

function movePoint(pose: Pose, p: Vec3): Vec3 {
  const r = rotate(pose.rotation, p);
  return [r[0] + pose.translation[0], r[1] + pose.translation[1], r[2] + pose.translation[2]];
}

/** Pairs that are each other's only (or, when `settle`, nearest) partner within the gate. */
function gatherPairs(query: TargetCloud, grid: TargetGrid, placed: PlacedQuery, settle: boolean): [number, number][] {
  const reference = grid.cloud;
  const bestOfQuery = new Int32Array(query.count).fill(-1);
  const bestOfReference = new Int32Array(reference.count).fill(-1);
  const distanceOfReference = new Float64Array(reference.count).fill(Number.POSITIVE_INFINITY);
  // Half the spacing: beyond that, a meeting says little about who was met.
  const reach = Math.max(reference.spacing / 2, 8 * reference.largestSigma);
  const near = new Int32Array(reference.count);
  for (let i = 0; i < query.count; i++) {
    const at = movePoint(placed.pose, pointOf(query, i));
    const own = query.sigma[i] ** 2;
    const base = predictedCovariance(placed, at, own);
    const variance = base[0] + base[4] + base[8];
    const radius = Math.sqrt(TARGET_GATE * (variance + reference.largestSigma ** 2));
    if (radius > reach) continue;
    const nearCount = grid.near(at, radius, near);
    let partner = -1;
    let least = Number.POSITIVE_INFINITY;
    let metCount = 0;
    for (let n = 0; n < nearCount; n++) {
      const k = near[n];
      const v = reference.sigma[k] ** 2;
      const inverse = invertSymmetric3([
        base[0] + v,
        base[1],
        base[2],
        base[3],
        base[4] + v,
        base[5],
        base[6],
        base[7],
        base[8] + v,
      ]);
      const d = inverse ? quadratic(inverse, at, pointOf(reference, k)) : Number.POSITIVE_INFINITY;
      if (d > TARGET_GATE) continue;
      near[metCount++] = k;
      if (d < least || (d === least && k < partner)) {
        least = d;
        partner = k;
      }
    }
    if (partner < 0) continue;
    const isCrowded = near
      .subarray(0, metCount)
      .some(
        (k) =>
          reference.distances[k * reference.count + partner] >
          doubleDistance(reference.sigma[k], reference.sigma[partner]),
      );
    if (isCrowded && !settle) continue;
    bestOfQuery[i] = partner;
    if (least < distanceOfReference[partner]) {
      distanceOfReference[partner] = least;
      bestOfReference[partner] = i;
    }
  }
  const pairs: [number, number][] = [];
  for (let i = 0; i < query.count; i++) {
    const k = bestOfQuery[i];
    if (k >= 0 && bestOfReference[k] === i) pairs.push([i, k]);
  }
  return pairs;
}

/**
 * Grows three matched targets to the largest set that the same motion explains.
 *
 * Method   pose and its covariance from the pairs so far; every other target is predicted with its own uncertainty, and
 *          taken where exactly one partner lies within the gate. Near targets come first by themselves, because far ones are
 *          not predicted well enough yet. In the end nearest mutual partners, and the pairs that fit worst are dropped until
 *          the whole set passes its chi-square test.
 *
 * @returns null when the set falls apart
 */
export function growTargetSeed(
  query: TargetCloud,
  grid: TargetGrid,
  seed: readonly (readonly [number, number])[],
): TargetHypothesis | null {
  const reference = grid.cloud;
  let pairs: readonly (readonly [number, number])[] = [...seed].sort((a, b) => a[0] - b[0]);
  let placed = placeQuery(query, reference, pairs);
  let settle = false;
  for (let round = 0; placed && round < LARGEST_ROUND_COUNT; round++) {
    const next = gatherPairs(query, grid, placed, settle);
    const grown = next.length >= pairs.length || settle ? next : mergePairs(pairs, next);
    if (grown.length < 3) return null;
    const same =
      grown.length === pairs.length && grown.every((p, n) => p[0] === pairs[n]?.[0] && p[1] === pairs[n]?.[1]);
    if (same && settle) break;
    if (same) settle = true;
    pairs = grown;
    placed = placeQuery(query, reference, pairs);
  }
  while (placed) {
    const redundancy = 3 * pairs.length - 6;
    if (placed.weightedSumSquares <= chiSquareQuantile(SET_SIGNIFICANCE, redundancy)) {
      return { pairs, referenceFromQuery: placed.pose, weightedSumSquares: placed.weightedSumSquares };
    }
    if (pairs.length === 3) return null;
    const worst = placed.squaredResiduals.indexOf(Math.max(...placed.squaredResiduals));
    pairs = pairs.filter((_, n) => n !== worst);
    placed = placeQuery(query, reference, pairs);
  }
  return null;
}

/** Keeps earlier pairs that are merely not met again in this round, as long as nobody else took their partner. */
function mergePairs(
  earlier: readonly (readonly [number, number])[],
  next: readonly (readonly [number, number])[],
): (readonly [number, number])[] {
  const taken = new Set(next.map((p) => p[1]));
  const known = new Set(next.map((p) => p[0]));
  return [...next, ...earlier.filter(([i, k]) => !known.has(i) && !taken.has(k))].sort((a, b) => a[0] - b[0]);
}
