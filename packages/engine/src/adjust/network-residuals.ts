import { invertSymmetric3, type Matrix3, multiplyMatrix3Vector, type Vec3 } from '../math/index.ts';
import { BLOCK } from './block-matrix.ts';
import type { LinearLink } from './linearise-link.ts';
import type { NetworkLink, NetworkModel } from './network-model.ts';
import type { LinearNetwork } from './solve-network.ts';
import { usedLinks } from './solve-network.ts';
import type { LinearTarget } from './target-elimination.ts';

/** 6 x 6 cross covariance of the motions of two centred frames (rotations as lengths); zero for fixed ones. */
export type FrameCovariance = (i: number, j: number) => Float64Array;

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

/** A link (pair, overlap, prior) or a sighting, with its share of the sums. */
export interface ObservationShare {
  readonly tie: string;
  readonly kind: 'target' | 'pair' | 'overlap' | 'prior';
  readonly frames: readonly number[];
  readonly weightedSumSquares: number;
  readonly redundancy: number;
  /** Length of the residual, mm; for overlaps the rms distance that remains. */
  readonly length: number;
  readonly link: NetworkLink | null;
  readonly linear: LinearLink | null;
}

/** An adjusted target. */
export interface AdjustedTarget {
  readonly name: string;
  /** mm, in the job. */
  readonly position: Vec3;
  /** 3 x 3 row-major, mm^2, a priori. */
  readonly covariance: readonly number[];
  readonly frames: readonly string[];
}

/** Residuals, redundancies and tests of all observations of a solved network. */
export interface NetworkResiduals {
  readonly points: readonly PointResidual[];
  readonly shares: readonly ObservationShare[];
  readonly targets: readonly AdjustedTarget[];
  readonly weightedSumSquares: number;
  readonly observationCount: number;
}

/** Redundancy below this share is rounding: nothing checks that direction. */
const LEAST_REDUNDANCY = 1e-6;

/** A C B^T for A, B of 3 or 6 rows by 6. */
function project(a: Float64Array, c: Float64Array, b: Float64Array, rows: number): Float64Array {
  const half = new Float64Array(rows * BLOCK);
  const out = new Float64Array(rows * rows);
  for (let i = 0; i < rows; i++) {
    for (let k = 0; k < BLOCK; k++) {
      const value = a[i * BLOCK + k];
      if (value !== 0) for (let j = 0; j < BLOCK; j++) half[i * BLOCK + j] += value * c[k * BLOCK + j];
    }
  }
  for (let i = 0; i < rows; i++) {
    for (let j = 0; j < rows; j++) {
      for (let k = 0; k < BLOCK; k++) out[i * rows + j] += half[i * BLOCK + k] * b[j * BLOCK + k];
    }
  }
  return out;
}

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

/** Judges every observation of a solved network. */
export function judgeObservations(
  model: NetworkModel,
  used: readonly boolean[],
  linear: LinearNetwork,
  covariance: FrameCovariance,
): NetworkResiduals {
  const points: PointResidual[] = [];
  const shares: ObservationShare[] = [];
  const targets: AdjustedTarget[] = [];
  const pairCount = new Map<string, number>();
  let weightedSumSquares = 0;
  let observationCount = 0;
  usedLinks(model, used).forEach((link, n) => {
    const l = linear.links[n] as LinearLink;
    const robustWeight = linear.linkWeights[n] as number;
    const share = judgeLink(link, l, robustWeight, covariance);
    shares.push(share.share);
    weightedSumSquares += share.share.weightedSumSquares;
    observationCount += l.rank;
    if (link.kind === 'pair') {
      const number = (pairCount.get(link.source.tie) ?? 0) + 1;
      pairCount.set(link.source.tie, number);
      points.push({
        tie: link.source.tie,
        kind: 'pair',
        frames: [link.source.frameA, link.source.frameB],
        name: String(number),
        residual: [l.misclosure[0], l.misclosure[1], l.misclosure[2]],
        standardised: Math.sqrt(l.weightedSumSquares),
        redundancy: share.share.redundancy,
        pointTest: share.test,
        robustWeight,
      });
    }
  });
  for (const t of linear.targets) {
    const result = judgeTarget(model, t, covariance);
    points.push(...result.points);
    shares.push(...result.shares);
    targets.push(result.target);
    weightedSumSquares += t.weightedSumSquares;
    observationCount += 3 * t.sightings.length;
  }
  return { points, shares, targets, weightedSumSquares, observationCount };
}

function judgeLink(
  link: NetworkLink,
  l: LinearLink,
  robustWeight: number,
  covariance: FrameCovariance,
): { share: ObservationShare; test: number | null } {
  const size = l.size;
  const adjusted = project(l.jacobianA, covariance(link.a, link.a), l.jacobianA, size);
  if (link.kind !== 'prior') {
    const jb = l.jacobianB as Float64Array;
    const own = project(jb, covariance(link.b, link.b), jb, size);
    const cross = project(l.jacobianA, covariance(link.a, link.b), jb, size);
    for (let i = 0; i < size; i++) {
      for (let j = 0; j < size; j++)
        adjusted[i * size + j] += own[i * size + j] + cross[i * size + j] + cross[j * size + i];
    }
  }
  let used = 0;
  for (let i = 0; i < size; i++)
    for (let j = 0; j < size; j++) used += l.weight[i * size + j] * adjusted[j * size + i] * robustWeight;
  let length = 0;
  let test: number | null = null;
  if (link.kind === 'pair') {
    length = Math.hypot(l.misclosure[0], l.misclosure[1], l.misclosure[2]);
    const variance = link.source.sigma ** 2 / robustWeight;
    test = pointTest(
      [l.misclosure[0], l.misclosure[1], l.misclosure[2]],
      [variance, 0, 0, 0, variance, 0, 0, 0, variance],
      adjusted,
    );
  } else if (link.kind === 'overlap') length = remainingRms(link, l);
  return {
    share: {
      tie: link.source.tie,
      kind: link.kind,
      frames: link.kind === 'prior' ? [link.a] : [link.a, link.b],
      weightedSumSquares: robustWeight * l.weightedSumSquares,
      redundancy: Math.max(0, l.rank - used),
      length,
      link,
      linear: l,
    },
    test,
  };
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
  model: NetworkModel,
  t: LinearTarget,
  covariance: FrameCovariance,
): { points: PointResidual[]; shares: ObservationShare[]; target: AdjustedTarget } {
  const k = t.sightings.length;
  // B_j = Q W_j A_j: how the target follows frame j.
  const follow = t.sightings.map((s) => {
    const qw = new Float64Array(9);
    for (let i = 0; i < 3; i++) {
      for (let j = 0; j < 3; j++)
        for (let m = 0; m < 3; m++)
          qw[3 * i + j] += (t.cofactor[3 * i + m] as number) * (s.weight[3 * m + j] as number);
    }
    const out = new Float64Array(18);
    for (let i = 0; i < 3; i++)
      for (let j = 0; j < BLOCK; j++)
        for (let m = 0; m < 3; m++) out[i * BLOCK + j] += qw[3 * i + m] * s.jacobian[m * BLOCK + j];
    return out;
  });
  // Cross covariance of the target with the motion of each frame, 3 x 6.
  const withFrame = t.sightings.map((s) => {
    const out = new Float64Array(18);
    t.sightings.forEach((o, j) => {
      const c = covariance(o.frame, s.frame);
      const b = follow[j] as Float64Array;
      for (let i = 0; i < 3; i++)
        for (let m = 0; m < BLOCK; m++)
          for (let n = 0; n < BLOCK; n++) out[i * BLOCK + n] += b[i * BLOCK + m] * c[m * BLOCK + n];
    });
    return out;
  });
  const own = Float64Array.from(t.cofactor);
  for (let j = 0; j < k; j++) {
    const [x, b] = [withFrame[j] as Float64Array, follow[j] as Float64Array];
    for (let i = 0; i < 3; i++)
      for (let n = 0; n < 3; n++) for (let m = 0; m < BLOCK; m++) own[3 * i + n] += x[i * BLOCK + m] * b[n * BLOCK + m];
  }
  const points: PointResidual[] = [];
  const shares: ObservationShare[] = [];
  t.sightings.forEach((s, j) => {
    const cross = new Float64Array(9);
    const x = withFrame[j] as Float64Array;
    for (let i = 0; i < 3; i++)
      for (let n = 0; n < 3; n++)
        for (let m = 0; m < BLOCK; m++) cross[3 * i + n] += x[i * BLOCK + m] * s.jacobian[n * BLOCK + m];
    const frame = project(s.jacobian, covariance(s.frame, s.frame), s.jacobian, 3);
    const adjusted = Float64Array.from(
      { length: 9 },
      (_, e) => own[e] + frame[e] - cross[e] - cross[(e % 3) * 3 + Math.floor(e / 3)],
    );
    let taken = 0;
    for (let i = 0; i < 3; i++)
      for (let n = 0; n < 3; n++) taken += (s.weight[3 * i + n] as number) * adjusted[3 * n + i];
    const w = multiplyMatrix3Vector(s.weight, s.residual);
    const square = s.residual[0] * w[0] + s.residual[1] * w[1] + s.residual[2] * w[2];
    const redundancy = k < 2 ? 0 : Math.max(0, 3 - taken);
    const source = (t.target.sightings[j] as (typeof t.target.sightings)[number]).source;
    const covarianceOwn = s.covariance.map((c) => c / s.robustWeight) as unknown as Matrix3;
    points.push({
      tie: source.tie,
      kind: 'target',
      frames: [source.frame],
      name: t.target.name,
      residual: s.residual,
      standardised: Math.sqrt(square / s.robustWeight),
      redundancy,
      pointTest: k < 2 ? null : pointTest(s.residual, covarianceOwn, adjusted),
      robustWeight: s.robustWeight,
    });
    shares.push({
      tie: source.tie,
      kind: 'target',
      frames: [s.frame],
      weightedSumSquares: square,
      redundancy,
      length: Math.hypot(...s.residual),
      link: null,
      linear: null,
    });
  });
  const offset = model.jobOffset;
  const target: AdjustedTarget = {
    name: t.target.name,
    position: [t.position[0] + offset[0], t.position[1] + offset[1], t.position[2] + offset[2]],
    covariance: Array.from(own, (_, e) => (own[e] + own[(e % 3) * 3 + Math.floor(e / 3)]) / 2),
    frames: t.target.sightings.map((s) => s.source.frame),
  };
  return { points, shares, target };
}
