import type { Finding } from '../base/index.ts';
import {
  absoluteOrientation,
  adjustOrientation,
  chiSquareQuantile,
  isotropicCovariance,
  norm,
  type OrientationAdjustment,
  type PointLayout,
  type Pose,
  symmetricEigen,
  type Vec3,
} from '../math/index.ts';
import type { PointPair } from '../model/index.ts';
import { likelyUnitFactor } from './picked-unit-factor.ts';

/** Why picked pairs give no pose. */
export type PickedPairsRefusal =
  | 'too-few-pairs'
  | 'collinear'
  | 'nearly-collinear'
  | 'different-size'
  | 'mirrored'
  | 'pairs-disagree';

/** Options of `alignPickedPairs`. */
export interface AlignPickedPairsOptions {
  /** Id of the tie, for the warnings. */
  readonly subject: string;
  /** Largest standard uncertainty of the rotation about any axis, rad, that still starts a fine alignment. */
  readonly largestRotationUncertainty: number;
  /** Largest rms residual as a share of the rms distance of the points from their centre. */
  readonly largestMisfitShare: number;
  /** Probability with which good pairs are called bad by the tests. */
  readonly significance: number;
}

/**
 * 0.15 rad: beyond some 10 degrees a fine alignment finds its way only by luck. 0.1: at a tenth of the object's radius the
 * rotation is off by about as much. 0.001: the level of data snooping in networks [Baarda68].
 */
export const ALIGN_PICKED_PAIRS_DEFAULTS: AlignPickedPairsOptions = {
  subject: 'picked pairs',
  largestRotationUncertainty: 0.15,
  largestMisfitShare: 0.1,
  significance: 0.001,
};

/** How one pair fits. */
export interface PickedPairResidual {
  /** b minus moved a, mm, in frame B. */
  readonly residual: Vec3;
  /** Its length, mm. */
  readonly length: number;
  /** Its length in units of the pair's sigma. */
  readonly standardised: number;
  /** Three-dimensional test, chi-square with 3 degrees of freedom when the pair is good; null where nothing checks it. */
  readonly pointTest: number | null;
  /** The pair stands out; all pairs that cannot be told from the worst one are marked. */
  readonly isSuspect: boolean;
}

/** Pose from picked pairs with its evidence, or a refusal. */
export interface PickedPairsAlignment {
  readonly status: 'aligned' | 'refused';
  readonly reason: PickedPairsRefusal | null;
  readonly message: string;
  readonly remedy: string;
  readonly bFromA: Pose | null;
  /**
   * 6 x 6 row-major, order tx ty tz rx ry rz, left motion in frame B about `reference`; the stated sigma, enlarged when the
   * residuals are larger than it lets expect.
   */
  readonly covariance: readonly number[] | null;
  readonly reference: Vec3 | null;
  readonly layout: PointLayout | null;
  /** rms extents of the points along their principal axes, mm, largest first. */
  readonly spread: Vec3 | null;
  /** Standard uncertainty of the least certain rotation, rad. */
  readonly rotationUncertainty: number | null;
  readonly rms: number | null;
  readonly varianceFactor: number | null;
  readonly redundancy: number;
  readonly pairs: readonly PickedPairResidual[];
  readonly warnings: readonly Finding[];
}

function refuse(
  reason: PickedPairsRefusal,
  message: string,
  remedy: string,
  known: Partial<PickedPairsAlignment> = {},
): PickedPairsAlignment {
  return {
    layout: null,
    spread: null,
    rotationUncertainty: null,
    rms: null,
    varianceFactor: null,
    redundancy: 0,
    pairs: [],
    warnings: [],
    ...known,
    status: 'refused',
    reason,
    message,
    remedy,
    bFromA: null,
    covariance: null,
    reference: null,
  };
}

/**
 * Pose between two frames from point pairs that a person picked.
 *
 * Frames   result is `bFromA`; covariance and residuals in frame B.
 * Units    mm, rad.
 * Method   closed form [Horn87], then least squares with the stated sigma of each pair; strength by the covariance of the
 *          rotation, each pair by its three-dimensional test, size by the scale that would fit better.
 * Assumes  the pairs are rough but of the stated sigma; a wrong pair is named, not removed.
 * Limits   fewer than three pairs, (nearly) collinear, mirrored or differently sized points are refused with the cure.
 *
 * @param pairs three or more, sigma larger than zero
 * @throws RangeError when a coordinate is no number or a sigma is not larger than zero
 */
export function alignPickedPairs(
  pairs: readonly PointPair[],
  options: Partial<AlignPickedPairsOptions> = {},
): PickedPairsAlignment {
  const settings = { ...ALIGN_PICKED_PAIRS_DEFAULTS, ...options };
  if (pairs.length < 3) {
    return refuse(
      'too-few-pairs',
      `${pairs.length} picked ${pairs.length === 1 ? 'pair' : 'pairs'}; a pose needs three.`,
      'Pick at least three pairs, far apart and not on one line; a fourth checks the others.',
    );
  }
  for (const pair of pairs) {
    if (!(pair.sigma > 0 && Number.isFinite(pair.sigma)))
      throw new RangeError('The sigma of a pair is larger than zero.');
  }
  const a = pairs.map((p) => p.a);
  const b = pairs.map((p) => p.b);
  const weights = pairs.map((p) => 1 / (p.sigma * p.sigma));
  const closed = absoluteOrientation(a, b, { weights });
  const spread = closed.spread;
  const line = 'Add a pair well to the side of the line through the others.';
  if (closed.rank < 6) {
    const where = closed.layout === 'point' ? 'in one place' : 'on one line';
    return refuse('collinear', `The picked points lie ${where}: nothing holds the turn about it.`, line, {
      layout: closed.layout,
      spread,
    });
  }
  const targetCovariances = pairs.map((p) => isotropicCovariance(p.sigma));
  const fit = adjustOrientation(a, b, { targetCovariances });
  if (!fit.covariance) {
    return refuse('collinear', 'The picked points lie on one line: nothing holds the turn about it.', line, {
      layout: closed.layout,
      spread,
    });
  }
  const varianceFactor = fit.weightedSumSquares / fit.redundancy;
  const enlarged = Math.max(1, varianceFactor);
  const covariance = Array.from(fit.covariance, (c) => c * enlarged);
  const rotationBlock = [21, 22, 23, 27, 28, 29, 33, 34, 35].map((k) => covariance[k] as number);
  const rotationUncertainty = Math.sqrt(symmetricEigen(rotationBlock, 3).values[2] as number);
  const rms = Math.sqrt(fit.residuals.reduce((sum, r) => sum + norm(r) ** 2, 0) / pairs.length);
  const residuals = judgePairs(pairs, fit, settings.significance);
  const known = {
    layout: closed.layout,
    spread,
    rotationUncertainty,
    rms,
    varianceFactor,
    redundancy: fit.redundancy,
    pairs: residuals,
  };

  const scale = absoluteOrientation(a, b, { weights, scale: 'symmetric' }).scale;
  // The stated sigma is one of the larger set: in the smaller one, read in a wrong unit, it would hide everything.
  const [small, large] = scale < 1 ? [b, a] : [a, b];
  const sized = adjustOrientation(small, large, { targetCovariances, scale: 'least-squares' });
  const scaleUncertainty = sized.covariance
    ? Math.sqrt((sized.covariance[48] as number) * Math.max(1, sized.weightedSumSquares / (fit.redundancy - 1)))
    : Number.POSITIVE_INFINITY;
  // Five per cent: no instrument is off by that much; a unit is.
  if (Math.abs(Math.log(scale)) > Math.max(0.05, 5 * scaleUncertainty)) {
    const unit = likelyUnitFactor(scale);
    return refuse(
      'different-size',
      `The picked points are ${formatFactor(scale)} times as far apart in the second frame as in the first${unit ? ` (${unit})` : ''}.`,
      'Check the units of both scans; then check the picked pairs.',
      known,
    );
  }
  const limit = chiSquareQuantile(settings.significance, fit.redundancy);
  const fits = fit.weightedSumSquares <= limit;
  if (!fits && closed.mirrorFitsBetter) {
    return refuse(
      'mirrored',
      `The picked points fit as a mirror image (rms ${formatLength(Math.sqrt(closed.mirroredSumSquares / sum(weights)))}), not as a motion (rms ${formatLength(rms)}).`,
      'One of the scans is mirrored (left-handed coordinates), or the picks of two mirror-image places were exchanged.',
      known,
    );
  }
  const radius = Math.hypot(...spread);
  const suspects = residuals.flatMap((r, i) => (r.isSuspect ? [i + 1] : []));
  const which =
    suspects.length === 0
      ? 'No single pair stands out.'
      : suspects.length === 1
        ? `Pair ${suspects[0]} stands out.`
        : `One of the pairs ${suspects.join(', ')} is wrong; these pairs cannot tell which.`;
  if (!fits && rms > settings.largestMisfitShare * radius) {
    return refuse(
      'pairs-disagree',
      `The picked pairs do not fit each other: rms ${formatLength(rms)} on points that spread ${formatLength(radius)}. ${which}`,
      'Pick the named pair again, or add pairs.',
      known,
    );
  }
  if (rotationUncertainty > settings.largestRotationUncertainty) {
    return refuse(
      'nearly-collinear',
      `The picked points lie nearly on one line: the turn about it is known to ${((rotationUncertainty * 180) / Math.PI).toFixed(0)} degrees only.`,
      line,
      known,
    );
  }
  const warnings: Finding[] = [];
  if (!fits) {
    warnings.push({
      severity: 'warning',
      code: 'picked-pairs-disagree',
      subject: settings.subject,
      message: `The picked pairs fit each other worse than stated: rms ${formatLength(rms)}. ${which}`,
      remedy: 'Pick the named pair again, or state a larger sigma.',
    });
  }
  return {
    ...known,
    status: 'aligned',
    reason: null,
    message: `${pairs.length} picked pairs, rms ${formatLength(rms)}.`,
    remedy: '',
    bFromA: fit.targetFromSource,
    covariance,
    reference: fit.reference,
    warnings,
  };
}

function judgePairs(
  pairs: readonly PointPair[],
  fit: OrientationAdjustment,
  significance: number,
): PickedPairResidual[] {
  const limit = chiSquareQuantile(significance, 3);
  const largest = Math.max(...Array.from(fit.pointTests, (t) => (Number.isNaN(t) ? 0 : t)));
  return pairs.map((pair, i) => {
    const residual = fit.residuals[i] as Vec3;
    const test = fit.pointTests[i] as number;
    const pointTest = Number.isNaN(test) ? null : test;
    return {
      residual,
      length: norm(residual),
      standardised: norm(residual) / pair.sigma,
      pointTest,
      // Equal to a hundredth: such a pair explains the misfit as well as the worst one does.
      isSuspect: pointTest !== null && pointTest > limit && pointTest > 0.99 * largest,
    };
  });
}

function sum(values: readonly number[]): number {
  return values.reduce((total, value) => total + value, 0);
}

function formatLength(value: number): string {
  return `${Number(value.toPrecision(3))} mm`;
}

function formatFactor(value: number): string {
  return String(Number(value.toPrecision(4)));
}
