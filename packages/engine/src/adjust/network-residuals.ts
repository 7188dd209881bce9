import { invertSymmetric3, type Matrix3, multiplyMatrix3Vector, type Pose, type Vec3 } from '../math/index.ts';
import { type BlockCovariance, propagateParts } from './block-covariance.ts';
import type { LinearLink, NetworkUnknowns } from './linear-link.ts';
import { linkFrames, type NetworkLink, type NetworkModel, type TargetSighting } from './network-model.ts';
import { type LinearNetwork, usedLinks } from './normal-equations.ts';
import { judgeScalars, type ScalarResidual, sightingScalars } from './scalar-residuals.ts';
import { coverTarget } from './target-covariance.ts';
import type { LinearSighting, LinearTarget } from './target-elimination.ts';

/** One point observation after the adjustment. */
export interface PointResidual {
  readonly tie: string;
  readonly kind: 'target' | 'pair';
  /** For targets the frame that saw it; for pairs both, a before b. */
  readonly frames: readonly string[];
  /** Name of the target; for pairs their number within the tie, from 1. */
  readonly name: string;
  /** Observed minus adjusted, mm, in the axes of the job. For pairs: moved a minus moved b. */
  readonly residual: Vec3;
  /** Length in units of its own uncertainty. */
  readonly standardised: number;
  /** How much of the three coordinates the rest of the network checks, 0 to 3. */
  readonly redundancy: number;
  /** v^T Q_vv^-1 v: chi-square with 3 degrees of freedom when good; null where some direction is not checked. */
  readonly pointTest: number | null;
  /** Weight that the robust estimate left it: 1 for plain least squares. */
  readonly robustWeight: number;
}

/** A link or a sighting of an eliminated target, with its share of the sums: what tests of ties and variance components sum up. */
export interface ObservationShare {
  readonly tie: string;
  readonly kind: NetworkLink['kind'];
  readonly frames: readonly number[];
  readonly weightedSumSquares: number;
  /** Numbers observed, and how many of them the rest of the network checks. */
  readonly rank: number;
  readonly redundancy: number;
  /** Length of the residual, mm; for overlaps the rms distance that remains; for relations the largest offset. */
  readonly length: number;
  /** Null for sightings of eliminated targets. */
  readonly link: NetworkLink | null;
  readonly linear: LinearLink | null;
  readonly robustWeight: number;
}

/** Residuals, redundancies and tests of all observations of a solved network. */
export interface NetworkResiduals {
  readonly points: readonly PointResidual[];
  readonly scalars: readonly ScalarResidual[];
  readonly shares: readonly ObservationShare[];
  readonly weightedSumSquares: number;
  readonly observationCount: number;
}

/** Redundancy below this share is rounding: nothing checks that direction. */
const LEAST_REDUNDANCY = 1e-6;

/** v^T (own - adjusted)^-1 v, or null when some direction has no redundancy. */
function pointTest(v: Vec3, own: Matrix3, adjusted: ArrayLike<number>): number | null {
  const cofactor = own.map(
    (c, k) => c - ((adjusted[k] as number) + (adjusted[(k % 3) * 3 + Math.floor(k / 3)] as number)) / 2,
  );
  const m = cofactor as unknown as Matrix3;
  // Whitened by its own covariance the determinant is the product of the three redundancies.
  const inverse = invertSymmetric3(m);
  if (!inverse) return null;
  for (let k = 0; k < 3; k++)
    if (!(1 / (inverse[4 * k] as number) > LEAST_REDUNDANCY * (own[4 * k] as number))) return null;
  const w = multiplyMatrix3Vector(inverse, v);
  return v[0] * w[0] + v[1] * w[1] + v[2] * w[2];
}

/**
 * Judges every observation of a solved network.
 *
 * @param covariance of the unknowns as plain least squares has it (the inverse of the normal matrix): redundancies come from the
 *        weights that were used, whatever the stated covariance takes in besides
 */
export function judgeObservations(
  model: NetworkModel,
  unknowns: NetworkUnknowns,
  linear: LinearNetwork,
  covariance: BlockCovariance,
): NetworkResiduals {
  const points: PointResidual[] = [];
  const scalars: ScalarResidual[] = [];
  const shares: ObservationShare[] = [];
  const pairCount = new Map<string, number>();
  let weightedSumSquares = 0;
  let observationCount = 0;
  usedLinks(model, unknowns).forEach((link, n) => {
    const l = linear.links[n] as LinearLink;
    const robustWeight = linear.linkWeights[n] as number;
    const adjusted = propagateParts(l.parts, l.size, covariance);
    const share = judgeLink(link, l, robustWeight, adjusted);
    shares.push(share);
    weightedSumSquares += share.weightedSumSquares;
    observationCount += l.rank;
    let number = 0;
    if (link.kind !== 'overlap' && link.kind !== 'prior') {
      number = (pairCount.get(link.source.tie) ?? 0) + 1;
      pairCount.set(link.source.tie, number);
    }
    scalars.push(...judgeScalars(model, link, l, linear.state.poses, adjusted, robustWeight, number));
    if (link.kind === 'pair') {
      const variance = link.source.sigma ** 2 / robustWeight;
      points.push({
        tie: link.source.tie,
        kind: 'pair',
        frames: [link.source.frameA, link.source.frameB],
        name: String(number),
        residual: [l.misclosure[0], l.misclosure[1], l.misclosure[2]],
        standardised: Math.sqrt(l.weightedSumSquares),
        redundancy: share.redundancy,
        pointTest: pointTest(
          [l.misclosure[0], l.misclosure[1], l.misclosure[2]],
          [variance, 0, 0, 0, variance, 0, 0, 0, variance],
          adjusted,
        ),
        robustWeight,
      });
    } else if (link.kind === 'target') {
      const own = invertSymmetric3(Array.from(l.weight, (w) => w * robustWeight) as unknown as Matrix3) as Matrix3;
      points.push({
        tie: link.source.tie,
        kind: 'target',
        frames: [link.source.frame],
        name: link.source.target,
        residual: [l.misclosure[0], l.misclosure[1], l.misclosure[2]],
        standardised: Math.sqrt(l.weightedSumSquares),
        redundancy: share.redundancy,
        pointTest: pointTest([l.misclosure[0], l.misclosure[1], l.misclosure[2]], own, adjusted),
        robustWeight,
      });
    }
  });
  for (const t of linear.targets) {
    const result = judgeTarget(t, linear.state.poses, covariance);
    points.push(...result.points);
    scalars.push(...result.scalars);
    shares.push(...result.shares);
    weightedSumSquares += t.weightedSumSquares;
    observationCount += 3 * t.sightings.length;
  }
  model.terms.forEach((term, t) => {
    if (!term.isEstimated) return;
    weightedSumSquares += ((linear.state.terms[t] as number) / term.sigma) ** 2;
    observationCount++;
  });
  return { points, scalars, shares, weightedSumSquares, observationCount };
}

function judgeLink(link: NetworkLink, l: LinearLink, robustWeight: number, adjusted: Float64Array): ObservationShare {
  const size = l.size;
  let used = 0;
  for (let i = 0; i < size; i++)
    for (let j = 0; j < size; j++) used += l.weight[i * size + j] * adjusted[j * size + i] * robustWeight;
  return {
    tie: link.source.tie,
    kind: link.kind,
    frames: linkFrames(link),
    weightedSumSquares: robustWeight * l.weightedSumSquares,
    rank: l.rank,
    redundancy: Math.max(0, l.rank - used),
    length: residualLength(link, l),
    link,
    linear: l,
    robustWeight,
  };
}

function residualLength(link: NetworkLink, l: LinearLink): number {
  if (link.kind === 'overlap') return remainingRms(link, l);
  if (link.kind === 'prior') return 0;
  if (link.kind === 'relation') {
    let largest = 0;
    l.misclosure.forEach((e, i) => {
      if (i < l.size - l.angleCount) largest = Math.max(largest, Math.abs(e));
    });
    return largest;
  }
  return Math.hypot(...l.misclosure);
}

/** rms distance of an overlap at the adjusted pose, mm. */
function remainingRms(link: NetworkLink & { kind: 'overlap' }, l: LinearLink): number {
  const { information, gradient, sumSquares, count } = link.source;
  let sum = sumSquares;
  for (let i = 0; i < 6; i++) {
    sum += 2 * (gradient[i] as number) * l.misclosure[i];
    for (let j = 0; j < 6; j++) sum += l.misclosure[i] * (information[6 * i + j] as number) * l.misclosure[j];
  }
  return Math.sqrt(Math.max(0, sum) / count);
}

function judgeTarget(
  t: LinearTarget,
  poses: readonly Pose[],
  covariance: BlockCovariance,
): { points: PointResidual[]; scalars: ScalarResidual[]; shares: ObservationShare[] } {
  const cover = coverTarget(t, covariance);
  const points: PointResidual[] = [];
  const scalars: ScalarResidual[] = [];
  const shares: ObservationShare[] = [];
  t.sightings.forEach((s: LinearSighting, j) => {
    const adjusted = cover.sightings[j] as Float64Array;
    let taken = 0;
    for (let i = 0; i < 3; i++)
      for (let n = 0; n < 3; n++) taken += (s.weight[3 * i + n] as number) * adjusted[3 * n + i];
    const w = multiplyMatrix3Vector(s.weight, s.residual);
    const square = s.residual[0] * w[0] + s.residual[1] * w[1] + s.residual[2] * w[2];
    const isAlone = t.sightings.length < 2;
    const redundancy = isAlone ? 0 : Math.max(0, 3 - taken);
    const { source } = t.target.sightings[j] as TargetSighting;
    const covarianceOwn = s.covariance.map((c) => c / s.robustWeight) as unknown as Matrix3;
    points.push({
      tie: source.tie,
      kind: 'target',
      frames: [source.frame],
      name: t.target.name,
      residual: s.residual,
      standardised: Math.sqrt(square / s.robustWeight),
      redundancy,
      pointTest: isAlone ? null : pointTest(s.residual, covarianceOwn, adjusted),
      robustWeight: s.robustWeight,
    });
    if (!isAlone) {
      const { rotation } = poses[s.frame] as Pose;
      scalars.push(...sightingScalars(source, s.residual, rotation, adjusted, s.robustWeight));
    }
    shares.push({
      tie: source.tie,
      kind: 'target',
      frames: [s.frame],
      weightedSumSquares: square,
      rank: 3,
      redundancy,
      length: Math.hypot(...s.residual),
      link: null,
      linear: null,
      robustWeight: s.robustWeight,
    });
  });
  return { points, scalars, shares };
}
