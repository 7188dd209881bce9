/** Below this share of the largest possible length a null vector is rounding noise: the points lie on a line. */
const LINE_LIMIT = 1e-20;

/**
 * Unit eigenvector of the smallest eigenvalue of a symmetric positive semidefinite 3 x 3 matrix, and that eigenvalue's
 * share of the trace.
 *
 * Method   Newton's iteration on the characteristic polynomial from 0, which rises monotonically to the smallest root;
 *          the eigenvector is the longest vector product of two rows of A - l I. Only + - * / and square root, so the
 *          result is the same on every machine.
 *
 * @param out nx ny nz l0 / trace; all 0 where no direction stands out (rank below two)
 */
export function smallestEigenvector(
  xx: number,
  xy: number,
  xz: number,
  yy: number,
  yz: number,
  zz: number,
  out: Float64Array,
): void {
  out[0] = 0;
  out[1] = 0;
  out[2] = 0;
  out[3] = 0;
  const trace = xx + yy + zz;
  if (!(trace > 0 && trace < Infinity)) return;
  const s = 1 / trace;
  const a = xx * s;
  const b = xy * s;
  const c = xz * s;
  const d = yy * s;
  const e = yz * s;
  const f = zz * s;
  const m0 = d * f - e * e;
  const m1 = a * f - c * c;
  const m2 = a * d - b * b;
  const minors = m0 + m1 + m2;
  const determinant = a * m0 - b * (b * f - c * e) + c * (b * e - c * d);
  let l = 0;
  for (let round = 0; round < 64; round++) {
    const value = ((l - 1) * l + minors) * l - determinant;
    const slope = (3 * l - 2) * l + minors;
    if (!(slope > 0)) break;
    const next = l - value / slope;
    if (!(next > l)) break;
    const step = next - l;
    l = next;
    if (step < 1e-17) break;
  }
  const p = a - l;
  const q = d - l;
  const r = f - l;
  // Rows of A - l I: (p b c), (b q e), (c e r); their products pairwise.
  const ux = b * e - c * q;
  const uy = c * b - p * e;
  const uz = p * q - b * b;
  const vx = b * r - c * e;
  const vy = c * c - p * r;
  const vz = p * e - b * c;
  const wx = q * r - e * e;
  const wy = e * c - b * r;
  const wz = b * e - q * c;
  const uu = ux * ux + uy * uy + uz * uz;
  const vv = vx * vx + vy * vy + vz * vz;
  const ww = wx * wx + wy * wy + wz * wz;
  let nx = ux;
  let ny = uy;
  let nz = uz;
  let nn = uu;
  if (vv > nn) {
    nx = vx;
    ny = vy;
    nz = vz;
    nn = vv;
  }
  if (ww > nn) {
    nx = wx;
    ny = wy;
    nz = wz;
    nn = ww;
  }
  out[3] = l;
  if (!(nn > LINE_LIMIT)) return;
  const length = 1 / Math.sqrt(nn);
  out[0] = nx * length;
  out[1] = ny * length;
  out[2] = nz * length;
}
