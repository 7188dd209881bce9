/**
 * Unit eigenvector of the smallest eigenvalue of a symmetric 3 x 3 matrix.
 *
 * Method   eigenvalue by Newton's steps, where these are slow in closed form (Smith 1961); vector as the longest cross product of two rows.
 *          Where two eigenvalues are equal and smallest, any vector of that plane.
 *
 * @param out three numbers
 * @returns eigenvalue / trace; 1/3 where all are equal or the matrix is zero
 */
export function smallestEigenvector3(
  xx: number,
  xy: number,
  xz: number,
  yy: number,
  yz: number,
  zz: number,
  out: Float64Array,
): number {
  const trace = xx + yy + zz;
  if (!(trace > 0)) {
    out[0] = 0;
    out[1] = 0;
    out[2] = 1;
    return 1 / 3;
  }
  const s = 1 / trace;
  const mean = 1 / 3;
  const a = xx * s - mean;
  const b = yy * s - mean;
  const c = zz * s - mean;
  const d = xy * s;
  const e = xz * s;
  const f = yz * s;
  // Characteristic polynomial of the matrix over its trace: l^3 - l^2 + c1 l - c0. From the left of its three real roots
  // Newton's steps never pass the smallest.
  const x0 = a + mean;
  const y0 = b + mean;
  const z0 = c + mean;
  const c1 = x0 * y0 + x0 * z0 + y0 * z0 - d * d - e * e - f * f;
  const c0 = x0 * (y0 * z0 - f * f) - d * (d * z0 - f * e) + e * (d * f - y0 * e);
  let value = 0;
  let isFound = false;
  for (let i = 0; i < 12 && !isFound; i++) {
    const slope = (3 * value - 2) * value + c1;
    const step = slope > 0 ? (((1 - value) * value - c1) * value + c0) / slope : 0;
    isFound = !(step > 1e-14);
    if (!isFound) value += step;
  }
  if (!isFound) {
    // Nearly a double root, where Newton is slow.
    const p = Math.sqrt((a * a + b * b + c * c + 2 * (d * d + e * e + f * f)) / 6);
    value = mean;
    if (p > 1e-12) {
      const half = (a * (b * c - f * f) - d * (d * c - f * e) + e * (d * f - b * e)) / (2 * p * p * p);
      const angle = Math.acos(Math.max(-1, Math.min(1, half))) / 3;
      value = mean + 2 * p * Math.cos(angle + (2 * Math.PI) / 3);
    }
  }
  const shift = mean - value;
  const r0x = a + shift;
  const r1y = b + shift;
  const r2z = c + shift;
  // Rows: (r0x d e), (d r1y f), (e f r2z).
  const c01x = d * f - e * r1y;
  const c01y = e * d - r0x * f;
  const c01z = r0x * r1y - d * d;
  const c02x = d * r2z - e * f;
  const c02y = e * e - r0x * r2z;
  const c02z = r0x * f - d * e;
  const c12x = r1y * r2z - f * f;
  const c12y = f * e - d * r2z;
  const c12z = d * f - r1y * e;
  const l01 = c01x * c01x + c01y * c01y + c01z * c01z;
  const l02 = c02x * c02x + c02y * c02y + c02z * c02z;
  const l12 = c12x * c12x + c12y * c12y + c12z * c12z;
  let x = c01x;
  let y = c01y;
  let z = c01z;
  let l = l01;
  if (l02 > l) [x, y, z, l] = [c02x, c02y, c02z, l02];
  if (l12 > l) [x, y, z, l] = [c12x, c12y, c12z, l12];
  if (l > 1e-30) {
    const inverse = 1 / Math.sqrt(l);
    out[0] = x * inverse;
    out[1] = y * inverse;
    out[2] = z * inverse;
  } else {
    // The two smallest are equal (points on a line, or a ball): a vector across the longest row.
    const [gx, gy, gz] = largestRow(r0x, d, e, r1y, f, r2z);
    const ax = Math.abs(gx);
    const ay = Math.abs(gy);
    const az = Math.abs(gz);
    const [hx, hy, hz] = ax <= ay && ax <= az ? [0, -gz, gy] : ay <= az ? [gz, 0, -gx] : [-gy, gx, 0];
    const length = Math.hypot(hx, hy, hz);
    out[0] = length > 0 ? hx / length : 0;
    out[1] = length > 0 ? hy / length : 0;
    out[2] = length > 0 ? hz / length : 1;
  }
  return Math.max(0, value);
}

function largestRow(xx: number, xy: number, xz: number, yy: number, yz: number, zz: number): [number, number, number] {
  const l0 = xx * xx + xy * xy + xz * xz;
  const l1 = xy * xy + yy * yy + yz * yz;
  const l2 = xz * xz + yz * yz + zz * zz;
  if (l0 >= l1 && l0 >= l2) return [xx, xy, xz];
  return l1 >= l2 ? [xy, yy, yz] : [xz, yz, zz];
}
