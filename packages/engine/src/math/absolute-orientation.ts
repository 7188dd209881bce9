import { type Pose, rotate } from './pose.ts';
import { symmetricEigen } from './symmetric-eigen.ts';
import { add, scale as multiply, subtract, type Vec3 } from './vec3.ts';

/** How the points lie: `point` all in one place, `line` collinear, `plane` coplanar, `volume` none of these. */
export type PointLayout = 'point' | 'line' | 'plane' | 'volume';

/** Options of `absoluteOrientation`. */
export interface AbsoluteOrientationOptions {
  /**
   * `none`: rigid. `least-squares`: the scale that makes the target residuals least [Umeyama91]; not symmetric, target
   * from source and source from target give scales whose product is not one. `symmetric`: ratio of the rms distances
   * from the centroids [Horn87]; its product is one.
   */
  readonly scale: 'none' | 'least-squares' | 'symmetric';
  /** One number a pair, not negative; only their ratios matter for the pose. Null: all one. */
  readonly weights: ArrayLike<number> | null;
}

/** Rigid and unweighted: instruments measure in the same millimetre unless somebody says otherwise. */
export const ABSOLUTE_ORIENTATION_DEFAULTS: AbsoluteOrientationOptions = { scale: 'none', weights: null };

/** Result of `absoluteOrientation`: target = scale R source + t. */
export interface AbsoluteOrientation {
  readonly targetFromSource: Pose;
  readonly scale: number;
  /** Target minus transformed source, one a pair. */
  readonly residuals: readonly Vec3[];
  /** Weighted sum of squared residuals. */
  readonly sumSquares: number;
  /** The same for the best mirrored fit. */
  readonly mirroredSumSquares: number;
  /** The points fit their mirror image at least twice as well (rms) as themselves: the data are mirrored, the pose is not. */
  readonly mirrorFitsBetter: boolean;
  /** Layout of the flatter of the two point sets, judged by the resolution of the coordinates. */
  readonly layout: PointLayout;
  /** Weighted rms extents of the source along its principal axes, largest first. */
  readonly spread: Vec3;
  /** Singular values of the weighted cross-covariance sum(w y x^T) / sum(w), largest first. */
  readonly singularValues: Vec3;
  /** How many of the six parameters of the pose the layout holds: 6, 5 (collinear), 3 (one place). */
  readonly rank: 3 | 5 | 6;
  readonly sourceCentroid: Vec3;
  readonly targetCentroid: Vec3;
}

interface Centred {
  readonly centroid: Vec3;
  readonly points: readonly Vec3[];
  readonly meanSquare: number;
  readonly spread: Vec3;
  readonly layout: PointLayout;
}

function centre(points: readonly Vec3[], weights: Float64Array, total: number): Centred {
  // Differences to the first point are exact or nearly so, however far from the origin the points lie.
  const first = points[0] as Vec3;
  const sum = [0, 0, 0];
  let largest = 0;
  points.forEach((p, i) => {
    for (let k = 0; k < 3; k++) {
      sum[k] = (sum[k] as number) + weights[i] * ((p[k] as number) - (first[k] as number));
      largest = Math.max(largest, Math.abs(p[k] as number));
    }
  });
  const shift: Vec3 = [(sum[0] as number) / total, (sum[1] as number) / total, (sum[2] as number) / total];
  const centroid = add(first, shift);
  const centred = points.map((p) => subtract(subtract(p, first), shift));
  const moments = new Float64Array(9);
  centred.forEach((p, i) => {
    for (let j = 0; j < 3; j++) {
      for (let k = 0; k < 3; k++) moments[3 * j + k] += (weights[i] * (p[j] as number) * (p[k] as number)) / total;
    }
  });
  const values = symmetricEigen(moments, 3).values;
  const spread: Vec3 = [
    Math.sqrt(Math.max(0, values[2])),
    Math.sqrt(Math.max(0, values[1])),
    Math.sqrt(Math.max(0, values[0])),
  ];
  // Coordinates carry no more than their own rounding; the square root of a moment carries half the digits.
  const least = 16 * Number.EPSILON * largest + 3e-8 * spread[0];
  const rank = spread.filter((s) => s > least).length;
  const layout = (['point', 'line', 'plane', 'volume'] as const)[rank] as PointLayout;
  return { centroid, points: centred, meanSquare: moments[0] + moments[4] + moments[8], spread, layout };
}

/**
 * The pose (and scale) that carries source points onto target points with the least weighted sum of squares.
 *
 * Frames   target = scale R source + t.
 * Units    those of the input; nothing depends on them.
 * Method   unit quaternion of the largest eigenvalue of a symmetric 4 x 4 matrix [Horn87], centred first. Always a proper
 *          rotation, also for coplanar, mirrored and noisy points. The smallest eigenvalue gives the best mirrored fit.
 * Assumes  the same isotropic uncertainty for the coordinates of a pair; `adjustOrientation` takes full covariances.
 * Limits   collinear points leave one rotation free, one place leaves three: `rank` says so and the pose is one of many.
 *
 * @param source at least one point
 * @param target as many points, in the same order
 * @throws RangeError when the counts differ, are zero, a coordinate is no number, or the weights are not usable
 */
export function absoluteOrientation(
  source: readonly Vec3[],
  target: readonly Vec3[],
  options: Partial<AbsoluteOrientationOptions> = {},
): AbsoluteOrientation {
  const { scale: scaleKind, weights: given } = { ...ABSOLUTE_ORIENTATION_DEFAULTS, ...options };
  const n = source.length;
  if (n === 0 || target.length !== n)
    throw new RangeError('Source and target need the same number of points, at least one.');
  for (const p of [...source, ...target]) {
    if (!p.every(Number.isFinite)) throw new RangeError('A coordinate is no number.');
  }
  const weights = new Float64Array(n);
  let total = 0;
  for (let i = 0; i < n; i++) {
    const w = given ? (given[i] as number) : 1;
    if (!(w >= 0 && Number.isFinite(w))) throw new RangeError('Weights are finite and not negative.');
    weights[i] = w;
    total += w;
  }
  if (!(total > 0)) throw new RangeError('At least one weight has to be larger than zero.');

  const x = centre(source, weights, total);
  const y = centre(target, weights, total);
  const k = new Float64Array(9);
  for (let i = 0; i < n; i++) {
    const a = x.points[i] as Vec3;
    const b = y.points[i] as Vec3;
    for (let j = 0; j < 3; j++) {
      for (let l = 0; l < 3; l++) k[3 * j + l] += (weights[i] * (b[j] as number) * (a[l] as number)) / total;
    }
  }
  // Horn 1987, section 4, with S_xy = sum source_x target_y = k[yx].
  const eigen = symmetricEigen(
    [
      k[0] + k[4] + k[8],
      k[7] - k[5],
      k[2] - k[6],
      k[3] - k[1],
      k[7] - k[5],
      k[0] - k[4] - k[8],
      k[1] + k[3],
      k[2] + k[6],
      k[2] - k[6],
      k[1] + k[3],
      k[4] - k[0] - k[8],
      k[5] + k[7],
      k[3] - k[1],
      k[2] + k[6],
      k[5] + k[7],
      k[8] - k[0] - k[4],
    ],
    4,
  );
  const layout = rankOf(x.layout) < rankOf(y.layout) ? x.layout : y.layout;
  const fit = (column: number, sign: number): { pose: Pose; scale: number; residuals: Vec3[]; sumSquares: number } => {
    const v = eigen.vectors;
    const w = v[column];
    const q: [number, number, number, number] = [w, v[4 + column], v[8 + column], v[12 + column]];
    const flip = w < 0 ? -1 : 1;
    const length = Math.hypot(...q) * flip;
    const rotation = [q[0] / length, q[1] / length, q[2] / length, q[3] / length] as const;
    const turned = x.points.map((p) => multiply(rotate(rotation, p), sign));
    let s = 1;
    if (scaleKind === 'symmetric') s = Math.sqrt(y.meanSquare / x.meanSquare);
    if (scaleKind === 'least-squares') {
      let product = 0;
      turned.forEach((p, i) => {
        const b = y.points[i] as Vec3;
        product += (weights[i] * (p[0] * b[0] + p[1] * b[1] + p[2] * b[2])) / total;
      });
      s = product / x.meanSquare;
    }
    if (!(s > 0 && Number.isFinite(s))) throw new RangeError('Points in one place have no scale.');
    let sumSquares = 0;
    const residuals = turned.map((p, i) => {
      const r = subtract(y.points[i] as Vec3, multiply(p, s));
      sumSquares += weights[i] * (r[0] * r[0] + r[1] * r[1] + r[2] * r[2]);
      return r;
    });
    const translation = subtract(y.centroid, multiply(rotate(rotation, x.centroid), s * sign));
    return { pose: { rotation, translation }, scale: s, residuals, sumSquares };
  };
  const proper = fit(3, 1);
  const mirroredSumSquares = fit(0, -1).sumSquares;
  const values = eigen.values;
  // Eigenvalues of the 4 x 4 matrix are s1 + s2 + s3, s1 - s2 - s3, ... with the sign of the determinant on s3.
  const s1 = (values[3] + values[2]) / 2;
  const s2 = (values[3] + values[1]) / 2;
  const s3 = Math.abs(values[2] + values[1]) / 2;
  return {
    targetFromSource: proper.pose,
    scale: proper.scale,
    residuals: proper.residuals,
    sumSquares: proper.sumSquares,
    mirroredSumSquares,
    mirrorFitsBetter: layout === 'volume' && mirroredSumSquares < proper.sumSquares / 4,
    layout,
    spread: x.spread,
    singularValues: [s1, s2, s3],
    rank: layout === 'point' ? 3 : layout === 'line' ? 5 : 6,
    sourceCentroid: x.centroid,
    targetCentroid: y.centroid,
  };
}

function rankOf(layout: PointLayout): number {
  return ['point', 'line', 'plane', 'volume'].indexOf(layout);
}
