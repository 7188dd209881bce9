import { absoluteOrientation } from './absolute-orientation.ts';
import { choleskyFactor, choleskyInverse, choleskySolve } from './cholesky.ts';
import { invertSymmetric3, multiplyMatrix3Vector, rotateCovariance3 } from './matrix3.ts';
import { type Matrix3, type Pose, perturb, rotate } from './pose.ts';
import { add, cross, scale as multiply, subtract, type Vec3 } from './vec3.ts';

/** Options of `adjustOrientation`. */
export interface OrientationAdjustmentOptions {
  /** 3 x 3 covariance of each source point; null: the source is free of error. */
  readonly sourceCovariances: readonly Matrix3[] | null;
  /** 3 x 3 covariance of each target point; null: the target is free of error. One of the two has to be given. */
  readonly targetCovariances: readonly Matrix3[] | null;
  readonly scale: 'none' | 'least-squares';
  /** Point of the target system at which the covariance holds; null: the centroid of the target points. */
  readonly reference: Vec3 | null;
}

/** Rigid, error-free source, targets of unit variance have to be stated by the caller. */
export const ORIENTATION_ADJUSTMENT_DEFAULTS: OrientationAdjustmentOptions = {
  sourceCovariances: null,
  targetCovariances: null,
  scale: 'none',
  reference: null,
};

/** Result of `adjustOrientation`: target = scale R source + t. */
export interface OrientationAdjustment {
  readonly status: 'converged' | 'iteration-limit' | 'degenerate';
  readonly targetFromSource: Pose;
  readonly scale: number;
  /** Target minus transformed source, one a pair. */
  readonly residuals: readonly Vec3[];
  /** Each residual in units of its own covariance, squared: e^T (C_target + s^2 R C_source R^T)^-1 e. */
  readonly squaredDistances: Float64Array;
  /**
   * Three-dimensional test of each pair, v^T Q_vv^-1 v: chi-square with 3 degrees of freedom when the pair is good.
   * NaN where the pair has no redundancy in some direction.
   */
  readonly pointTests: Float64Array;
  /** Sum of the squared distances (vPv). */
  readonly weightedSumSquares: number;
  readonly redundancy: number;
  /**
   * A priori, row-major; n = 6 or, with scale, 7: order tx ty tz rx ry rz (relative scale), a left motion of the target
   * system about `reference`. Null when degenerate.
   */
  readonly covariance: Float64Array | null;
  readonly reference: Vec3;
  readonly iterations: number;
}

/**
 * Least-squares pose (and scale) of paired points that are uncertain in both systems.
 *
 * Frames   target = scale R source + t.
 * Units    those of the input; covariances in their square.
 * Method   Gauss-Newton on the condition equations, linearised at the adjusted source points (general least squares,
 *          errors in both systems) [Ghilani10, ch. 22], started from `absoluteOrientation`. At convergence the sum of
 *          squared corrections of both sets is least, not that of an approximate model.
 * Assumes  pairs independent of each other, covariances positive definite in sum.
 * Limits   collinear points: `status` is `degenerate`, the pose is one of many and there is no covariance.
 *
 * @param source at least three points
 * @param target as many, in the same order
 * @throws RangeError when counts differ, no covariance is given, or one is not positive definite
 */
export function adjustOrientation(
  source: readonly Vec3[],
  target: readonly Vec3[],
  options: Partial<OrientationAdjustmentOptions> = {},
): OrientationAdjustment {
  const {
    sourceCovariances,
    targetCovariances,
    scale: scaleKind,
    reference: wanted,
  } = {
    ...ORIENTATION_ADJUSTMENT_DEFAULTS,
    ...options,
  };
  if (!sourceCovariances && !targetCovariances) throw new RangeError('State the covariance of one of the point sets.');
  const n = source.length;
  const traceOf = (m: Matrix3 | undefined): number => (m ? m[0] + m[4] + m[8] : 0);
  const startWeights = source.map((_, i) => 3 / (traceOf(sourceCovariances?.[i]) + traceOf(targetCovariances?.[i])));
  const start = absoluteOrientation(source, target, { scale: scaleKind, weights: startWeights });
  const centroid = start.sourceCentroid;
  // Work about the two centroids: every number below is small, wherever the object lies.
  const x = source.map((p) => subtract(p, centroid));
  const y = target.map((p) => subtract(p, start.targetCentroid));
  let rotation = start.targetFromSource.rotation;
  let scale = start.scale;
  let shift: Vec3 = [0, 0, 0];
  const size = scaleKind === 'none' ? 6 : 7;
  // Rotations and scale are solved for as lengths at the rms radius, so that the normal matrix has one unit.
  const radius = Math.hypot(...start.spread) * scale || 1;

  const evaluate = () => {
    const normal = new Float64Array(size * size);
    const right = new Float64Array(size);
    const residuals: Vec3[] = [];
    const squaredDistances = new Float64Array(n);
    const weights: Matrix3[] = [];
    const rows: Float64Array[] = [];
    let weightedSumSquares = 0;
    for (let i = 0; i < n; i++) {
      const moved = add(multiply(rotate(rotation, x[i] as Vec3), scale), shift);
      const e = subtract(y[i] as Vec3, moved);
      const sourcePart = sourceCovariances
        ? (rotateCovariance3(rotation, sourceCovariances[i] as Matrix3).map(
            (c) => c * scale * scale,
          ) as unknown as Matrix3)
        : null;
      const targetPart = targetCovariances ? (targetCovariances[i] as Matrix3) : null;
      const sum = [0, 1, 2, 3, 4, 5, 6, 7, 8].map(
        (k) => (sourcePart ? (sourcePart[k] as number) : 0) + (targetPart ? (targetPart[k] as number) : 0),
      ) as unknown as Matrix3;
      const weight = invertSymmetric3(sum);
      if (!weight) throw new RangeError(`The covariance of pair ${i + 1} is not positive definite.`);
      const weighted = multiplyMatrix3Vector(weight, e);
      squaredDistances[i] = e[0] * weighted[0] + e[1] * weighted[1] + e[2] * weighted[2];
      weightedSumSquares += squaredDistances[i];
      residuals.push(e);
      weights.push(weight);
      // Adjusted place of the transformed source point: where the Jacobian belongs.
      const arm = subtract(sourcePart ? add(moved, multiplyMatrix3Vector(sourcePart, weighted)) : moved, shift);
      const row = new Float64Array(3 * size);
      row[0] = 1;
      row[size + 1] = 1;
      row[2 * size + 2] = 1;
      // d(rotated)/d(rotation vector) = -[arm]x
      row[4] = arm[2] / radius;
      row[5] = -arm[1] / radius;
      row[size + 3] = -arm[2] / radius;
      row[size + 5] = arm[0] / radius;
      row[2 * size + 3] = arm[1] / radius;
      row[2 * size + 4] = -arm[0] / radius;
      if (size === 7) for (let k = 0; k < 3; k++) row[k * size + 6] = (arm[k] as number) / radius;
      rows.push(row);
      for (let a = 0; a < size; a++) {
        for (let k = 0; k < 3; k++) {
          if (row[k * size + a] === 0) continue;
          right[a] += row[k * size + a] * (weighted[k] as number);
          for (let b = 0; b <= a; b++) {
            let s = 0;
            for (let l = 0; l < 3; l++) s += (weight[3 * k + l] as number) * row[l * size + b];
            normal[a * size + b] += row[k * size + a] * s;
          }
        }
      }
    }
    return { normal, right, residuals, squaredDistances, weights, rows, weightedSumSquares };
  };

  let status: OrientationAdjustment['status'] = start.rank === 6 ? 'iteration-limit' : 'degenerate';
  let iterations = 0;
  let lastStep = Number.POSITIVE_INFINITY;
  let state = evaluate();
  while (status === 'iteration-limit' && iterations < 50) {
    const factor = choleskyFactor(state.normal, size);
    if (!factor) {
      status = 'degenerate';
      break;
    }
    const step = choleskySolve(factor, size, state.right);
    const turn = perturb(
      { rotation, translation: [0, 0, 0] },
      [0, 0, 0, step[3] / radius, step[4] / radius, step[5] / radius],
      [0, 0, 0],
    );
    rotation = turn.rotation;
    shift = add(shift, [step[0], step[1], step[2]]);
    if (size === 7) scale *= 1 + step[6] / radius;
    iterations++;
    state = evaluate();
    const largest = Math.max(...Array.from(step, Math.abs));
    // Done when the step is rounding: below the last digits, or small and no longer shrinking.
    if (largest <= 1e-14 * radius || (largest <= 1e-9 * radius && largest > lastStep / 4)) status = 'converged';
    lastStep = largest;
  }
  const pose: Pose = {
    rotation,
    translation: subtract(add(start.targetCentroid, shift), multiply(rotate(rotation, centroid), scale)),
  };
  const reference = wanted ?? start.targetCentroid;
  const factor = status === 'degenerate' ? null : choleskyFactor(state.normal, size);
  const local = factor ? choleskyInverse(factor, size) : null;
  return {
    status,
    targetFromSource: pose,
    scale,
    residuals: state.residuals,
    squaredDistances: state.squaredDistances,
    pointTests: local ? pointTests(state, local, size) : new Float64Array(n).fill(Number.NaN),
    weightedSumSquares: state.weightedSumSquares,
    redundancy: 3 * n - size,
    covariance: local
      ? moveReference(local, size, radius, subtract(reference, add(start.targetCentroid, shift)))
      : null,
    reference,
    iterations,
  };
}

/** v^T Q_vv^-1 v with Q_vv = C - A N^-1 A^T, for each pair. */
function pointTests(
  state: { rows: Float64Array[]; weights: Matrix3[]; residuals: Vec3[] },
  covariance: Float64Array,
  size: number,
): Float64Array {
  return Float64Array.from(state.rows, (row, i) => {
    const weight = state.weights[i] as Matrix3;
    const fitted = new Float64Array(9);
    for (let j = 0; j < 3; j++) {
      for (let k = 0; k < 3; k++) {
        let s = 0;
        for (let a = 0; a < size; a++) {
          for (let b = 0; b < size; b++) s += row[j * size + a] * covariance[a * size + b] * row[k * size + b];
        }
        fitted[3 * j + k] = s;
      }
    }
    const own = invertSymmetric3(weight);
    if (!own) return Number.NaN;
    const cofactor = own.map((c, k) => c - fitted[k]) as unknown as Matrix3;
    // Redundancy share below a millionth is rounding: nothing checks this pair.
    if (cofactor[0] <= 1e-6 * own[0] || cofactor[4] <= 1e-6 * own[4] || cofactor[8] <= 1e-6 * own[8]) return Number.NaN;
    const inverse = invertSymmetric3(cofactor);
    if (!inverse) return Number.NaN;
    const v = state.residuals[i] as Vec3;
    const w = multiplyMatrix3Vector(inverse, v);
    return v[0] * w[0] + v[1] * w[1] + v[2] * w[2];
  });
}

/** Covariance of the left motion about another point; rotation and scale back in rad and one. */
function moveReference(local: Float64Array, size: number, radius: number, arm: Vec3): Float64Array {
  const jacobian = new Float64Array(size * size);
  for (let k = 0; k < 3; k++) jacobian[k * size + k] = 1;
  for (let k = 3; k < size; k++) jacobian[k * size + k] = 1 / radius;
  for (let k = 0; k < 3; k++) {
    const unit: Vec3 = [k === 0 ? 1 : 0, k === 1 ? 1 : 0, k === 2 ? 1 : 0];
    const c = cross(unit, arm);
    for (let l = 0; l < 3; l++) jacobian[l * size + 3 + k] += (c[l] as number) / radius;
  }
  if (size === 7) for (let l = 0; l < 3; l++) jacobian[l * size + 6] += (arm[l] as number) / radius;
  const half = new Float64Array(size * size);
  const out = new Float64Array(size * size);
  for (let i = 0; i < size; i++) {
    for (let j = 0; j < size; j++) {
      for (let k = 0; k < size; k++) half[i * size + j] += jacobian[i * size + k] * local[k * size + j];
    }
  }
  for (let i = 0; i < size; i++) {
    for (let j = 0; j < size; j++) {
      for (let k = 0; k < size; k++) out[i * size + j] += half[i * size + k] * jacobian[j * size + k];
    }
  }
  return out;
}
