/** Computes derived values from input values. Must be smooth over a few standard uncertainties of the inputs. */
export type MeasurementModel = (inputs: Float64Array) => ArrayLike<number>;

/** Result of `propagateUncertainty`. */
export interface PropagatedUncertainty {
  /** Derived values at the estimates of the inputs. */
  readonly values: Float64Array;
  /** m x n row-major: change of each derived value with each input. */
  readonly jacobian: Float64Array;
  /** m x m row-major. */
  readonly covariance: Float64Array;
  readonly standardUncertainties: Float64Array;
}

/** m x m covariance J C J^T (law of propagation with all correlations, JCGM 102, 6.2.1.3). J m x n and C n x n, row-major. */
export function propagateCovariance(
  jacobian: ArrayLike<number>,
  covariance: ArrayLike<number>,
  m: number,
): Float64Array {
  const n = Math.round(jacobian.length / m);
  if (covariance.length !== n * n) throw new RangeError('Jacobian and covariance do not fit each other.');
  const half = new Float64Array(m * n);
  for (let i = 0; i < m; i++) {
    for (let k = 0; k < n; k++) {
      const value = jacobian[i * n + k] as number;
      if (value !== 0) for (let j = 0; j < n; j++) half[i * n + j] += value * (covariance[k * n + j] as number);
    }
  }
  const out = new Float64Array(m * m);
  for (let i = 0; i < m; i++) {
    for (let j = 0; j <= i; j++) {
      let sum = 0;
      for (let k = 0; k < n; k++) sum += half[i * n + k] * (jacobian[j * n + k] as number);
      out[i * m + j] = sum;
      out[j * m + i] = sum;
    }
  }
  return out;
}

/** Steps of numeric derivatives, in standard uncertainties: small against the bend of any sane model, large against rounding. */
const SLOPE_STEP = 1e-3;
const BEND_STEP = 0.1;

/**
 * m x n Jacobian by central differences, extrapolated from two steps (error of the fourth order).
 *
 * @param scales of the inputs, usually their standard uncertainties; zero: the column is zero
 */
export function numericJacobian(
  model: MeasurementModel,
  inputs: ArrayLike<number>,
  scales: ArrayLike<number>,
): Float64Array {
  const n = inputs.length;
  const m = model(Float64Array.from(inputs)).length;
  const jacobian = new Float64Array(m * n);
  for (let j = 0; j < n; j++) {
    const scale = scales[j] as number;
    if (!(scale > 0)) continue;
    const at = (factor: number): { x: number; y: ArrayLike<number> } => {
      const moved = Float64Array.from(inputs);
      moved[j] += factor * scale;
      return { x: moved[j] as number, y: Float64Array.from(model(moved)) };
    };
    const difference = (step: number): Float64Array => {
      const [up, down] = [at(step), at(-step)];
      // The step that floating point really took.
      return Float64Array.from(
        { length: m },
        (_, i) => ((up.y[i] as number) - (down.y[i] as number)) / (up.x - down.x),
      );
    };
    const [wide, narrow] = [difference(2 * SLOPE_STEP), difference(SLOPE_STEP)];
    for (let i = 0; i < m; i++) jacobian[i * n + j] = (4 * narrow[i] - wide[i]) / 3;
  }
  return jacobian;
}

/**
 * First-order uncertainty of derived values (law of propagation of uncertainty, JCGM 100, 5.1 and 5.2; JCGM 102, 6.2).
 *
 * Limits   wrong where the model bends within the uncertainties of its inputs, for example the direction of a vector that may be
 *          zero: `propagateDistributions` has no such limit.
 *
 * @param estimates n inputs
 * @param covariance n x n row-major
 * @param jacobian m x n where it is known; otherwise by differences
 */
export function propagateUncertainty(
  model: MeasurementModel,
  estimates: ArrayLike<number>,
  covariance: ArrayLike<number>,
  jacobian?: ArrayLike<number>,
): PropagatedUncertainty {
  const n = estimates.length;
  if (covariance.length !== n * n) throw new RangeError('The covariance of n inputs has n x n numbers.');
  const values = Float64Array.from(model(Float64Array.from(estimates)));
  const scales = Float64Array.from({ length: n }, (_, i) => Math.sqrt(covariance[i * n + i] as number));
  const slopes = jacobian ? Float64Array.from(jacobian) : numericJacobian(model, estimates, scales);
  const out = propagateCovariance(slopes, covariance, values.length);
  return {
    values,
    jacobian: slopes,
    covariance: out,
    standardUncertainties: values.map((_, i) => Math.sqrt(Math.max(0, out[i * values.length + i]))),
  };
}

/**
 * Second-order part of the variance of one derived value of independent, normal inputs: the sum over all i, j of
 * (f_ij^2 / 2 + f_i f_ijj) u_i^2 u_j^2 (JCGM 100, note to 5.1.2). Added to the first-order variance where that is not enough.
 *
 * @param model of one value
 * @returns n x n, row-major: the term of each ordered pair (i, j), whose sum is wanted
 */
export function secondOrderVariance(
  model: (inputs: Float64Array) => number,
  estimates: ArrayLike<number>,
  standardUncertainties: ArrayLike<number>,
): Float64Array {
  const n = estimates.length;
  const at = (i: number, a: number, j: number, b: number): number => {
    const moved = Float64Array.from(estimates);
    moved[i] += a * BEND_STEP * (standardUncertainties[i] as number);
    moved[j] += b * BEND_STEP * (standardUncertainties[j] as number);
    return model(moved);
  };
  // All in units of the standard uncertainties, so that the products of u are in them.
  const h = BEND_STEP;
  const centre = model(Float64Array.from(estimates));
  const slopes = Float64Array.from({ length: n }, (_, i) => (at(i, 1, i, 0) - at(i, -1, i, 0)) / (2 * h));
  const out = new Float64Array(n * n);
  for (let i = 0; i < n; i++) {
    for (let j = 0; j < n; j++) {
      let bend: number;
      let third: number;
      if (i === j) {
        bend = (at(i, 1, i, 0) - 2 * centre + at(i, -1, i, 0)) / (h * h);
        third = (at(i, 2, i, 0) - 2 * at(i, 1, i, 0) + 2 * at(i, -1, i, 0) - at(i, -2, i, 0)) / (2 * h ** 3);
      } else {
        bend = (at(i, 1, j, 1) - at(i, 1, j, -1) - at(i, -1, j, 1) + at(i, -1, j, -1)) / (4 * h * h);
        const along = (a: number): number => at(i, a, j, 1) - 2 * at(i, a, j, 0) + at(i, a, j, -1);
        third = (along(1) - along(-1)) / (2 * h ** 3);
      }
      out[i * n + j] = (bend * bend) / 2 + slopes[i] * third;
    }
  }
  return out;
}
