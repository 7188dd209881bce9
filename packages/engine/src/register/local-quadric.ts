/** Number of coefficients of a height quadric: 1, u, v, u^2, uv, v^2. */
export const QUADRIC_TERMS = 6;

const normalMatrix = new Float64Array(36);
const basis = new Float64Array(6);

/**
 * Least-squares quadric w(u, v) = c0 + c1 u + c2 v + c3 u^2 + c4 uv + c5 v^2 through weighted points.
 *
 * Method   normal equations and Cholesky; give u and v in units of the neighbourhood's radius, so that all terms are
 *          of one size.
 *
 * @param local u, v, w of each point, `count` times
 * @param weights one a point, not negative
 * @param coefficients out, six numbers
 * @returns weighted sum of squared residuals, or -1 where the points do not determine the quadric
 */
export function fitLocalQuadric(
  local: Float64Array,
  weights: Float64Array,
  count: number,
  coefficients: Float64Array,
): number {
  const a = normalMatrix.fill(0);
  const b = coefficients.fill(0);
  for (let i = 0; i < count; i++) {
    const u = local[3 * i];
    const v = local[3 * i + 1];
    const w = local[3 * i + 2];
    const p = weights[i];
    basis[0] = 1;
    basis[1] = u;
    basis[2] = v;
    basis[3] = u * u;
    basis[4] = u * v;
    basis[5] = v * v;
    for (let r = 0; r < 6; r++) {
      const f = p * basis[r];
      for (let c = 0; c <= r; c++) a[6 * r + c] += f * basis[c];
      b[r] += f * w;
    }
  }
  for (let i = 0; i < 6; i++) {
    const diagonal = a[7 * i];
    for (let j = 0; j <= i; j++) {
      let sum = a[6 * i + j];
      for (let k = 0; k < j; k++) sum -= a[6 * i + k] * a[6 * j + k];
      if (i === j) {
        if (!(sum > 1e-9 * diagonal)) return -1;
        a[7 * i] = Math.sqrt(sum);
      } else a[6 * i + j] = sum / a[7 * j];
    }
  }
  for (let i = 0; i < 6; i++) {
    for (let k = 0; k < i; k++) b[i] -= a[6 * i + k] * b[k];
    b[i] /= a[7 * i];
  }
  for (let i = 5; i >= 0; i--) {
    for (let k = i + 1; k < 6; k++) b[i] -= a[6 * k + i] * b[k];
    b[i] /= a[7 * i];
  }
  let squares = 0;
  for (let i = 0; i < count; i++) {
    const u = local[3 * i];
    const v = local[3 * i + 1];
    const r = local[3 * i + 2] - (b[0] + b[1] * u + b[2] * v + b[3] * u * u + b[4] * u * v + b[5] * v * v);
    squares += weights[i] * r * r;
  }
  return squares;
}
