/** Number of coefficients of a height quadric: 1, u, v, u^2, uv, v^2. */
export const QUADRIC_TERMS = 6;

const normalMatrix = new Float64Array(36);

/**
 * Least-squares quadric w(u, v) = c0 + c1 u + c2 v + c3 u^2 + c4 uv + c5 v^2 through weighted points.
 *
 * Method   normal equations from the moments of u and v, and Cholesky; give u and v in units of the neighbourhood's radius, so
 *          that all terms are of one size.
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
  let m00 = 0;
  let m10 = 0;
  let m01 = 0;
  let m20 = 0;
  let m11 = 0;
  let m02 = 0;
  let m30 = 0;
  let m21 = 0;
  let m12 = 0;
  let m03 = 0;
  let m40 = 0;
  let m31 = 0;
  let m22 = 0;
  let m13 = 0;
  let m04 = 0;
  let b0 = 0;
  let b1 = 0;
  let b2 = 0;
  let b3 = 0;
  let b4 = 0;
  let b5 = 0;
  for (let i = 0; i < count; i++) {
    const u = local[3 * i];
    const v = local[3 * i + 1];
    const p = weights[i];
    const pu = p * u;
    const pv = p * v;
    const uu = u * u;
    const uv = u * v;
    const vv = v * v;
    const puu = p * uu;
    const puv = p * uv;
    const pvv = p * vv;
    m00 += p;
    m10 += pu;
    m01 += pv;
    m20 += puu;
    m11 += puv;
    m02 += pvv;
    m30 += puu * u;
    m21 += puu * v;
    m12 += pvv * u;
    m03 += pvv * v;
    m40 += puu * uu;
    m31 += puu * uv;
    m22 += puu * vv;
    m13 += puv * vv;
    m04 += pvv * vv;
    const w = local[3 * i + 2];
    b0 += p * w;
    b1 += pu * w;
    b2 += pv * w;
    b3 += puu * w;
    b4 += puv * w;
    b5 += pvv * w;
  }
  const a = normalMatrix;
  const b = coefficients;
  a[0] = m00;
  a[6] = m10;
  a[7] = m20;
  a[12] = m01;
  a[13] = m11;
  a[14] = m02;
  a[18] = m20;
  a[19] = m30;
  a[20] = m21;
  a[21] = m40;
  a[24] = m11;
  a[25] = m21;
  a[26] = m12;
  a[27] = m31;
  a[28] = m22;
  a[30] = m02;
  a[31] = m12;
  a[32] = m03;
  a[33] = m22;
  a[34] = m13;
  a[35] = m04;
  b[0] = b0;
  b[1] = b1;
  b[2] = b2;
  b[3] = b3;
  b[4] = b4;
  b[5] = b5;
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
    let sum = b[i];
    for (let k = 0; k < i; k++) sum -= a[6 * i + k] * b[k];
    b[i] = sum / a[7 * i];
  }
  for (let i = 5; i >= 0; i--) {
    let sum = b[i];
    for (let k = i + 1; k < 6; k++) sum -= a[6 * k + i] * b[k];
    b[i] = sum / a[7 * i];
  }
  const [c0, c1, c2, c3, c4, c5] = [b[0], b[1], b[2], b[3], b[4], b[5]];
  let squares = 0;
  for (let i = 0; i < count; i++) {
    const u = local[3 * i];
    const v = local[3 * i + 1];
    const r = local[3 * i + 2] - (c0 + c1 * u + c2 * v + c3 * u * u + c4 * u * v + c5 * v * v);
    squares += weights[i] * r * r;
  }
  return squares;
}
