import { ENTRY_COUNT, levelAddress, POINT_LEAF } from './layout';
import { findNearest, slots, startSearch } from './k-nearest';

// Below this share of the largest possible length a null vector is rounding noise: the points lie on a line.
const LINE_LIMIT: f64 = 1e-20;

/**
 * Normals of the points in leaves first..last-1 from their k nearest neighbours, written at the points' own places.
 * The points are taken in the order of the tree, so neighbours are already in the cache.
 */
export function leafNormals(
  tree: usize,
  first: u32,
  last: u32,
  k: u32,
  outNormals: usize,
  outVariation: usize,
  scratch: usize,
): void {
  startSearch(scratch);
  const count = load<u32>(tree + ENTRY_COUNT);
  const leaves = levelAddress(tree, 0);
  for (let i = first * 8; i < min<u32>(last * 8, count); i++) {
    const slot = leaves + <usize>(i >> 3) * POINT_LEAF + ((<usize>(i & 7)) << 2);
    const x = load<f32>(slot, 0);
    const y = load<f32>(slot, 32);
    const z = load<f32>(slot, 64);
    const id = <usize>load<u32>(slot, 96);
    const found = findNearest(tree, x, y, z, k, scratch);
    writeNormal(slots, found, x, y, z, outNormals + id * 12, outVariation + (id << 2));
  }
}

function writeNormal(list: usize, count: u32, x: f64, y: f64, z: f64, outNormal: usize, outVariation: usize): void {
  let sx: f64 = 0;
  let sy: f64 = 0;
  let sz: f64 = 0;
  let xx: f64 = 0;
  let xy: f64 = 0;
  let xz: f64 = 0;
  let yy: f64 = 0;
  let yz: f64 = 0;
  let zz: f64 = 0;
  for (let j: u32 = 0; j < count; j++) {
    const slot = <usize>load<u32>(list + ((<usize>j) << 2));
    const dx = <f64>load<f32>(slot, 0) - x;
    const dy = <f64>load<f32>(slot, 32) - y;
    const dz = <f64>load<f32>(slot, 64) - z;
    sx += dx;
    sy += dy;
    sz += dz;
    xx += dx * dx;
    xy += dx * dy;
    xz += dx * dz;
    yy += dy * dy;
    yz += dy * dz;
    zz += dz * dz;
  }
  store<f32>(outNormal, 0, 0);
  store<f32>(outNormal, 0, 4);
  store<f32>(outNormal, 0, 8);
  store<f32>(outVariation, 0);
  if (count < 3) return;
  const n = <f64>count;
  const mx = sx / n;
  const my = sy / n;
  const mz = sz / n;
  smallestEigenvector(
    xx - sx * mx,
    xy - sx * my,
    xz - sx * mz,
    yy - sy * my,
    yz - sy * mz,
    zz - sz * mz,
    outNormal,
    outVariation,
  );
}

// The same operations in the same order as reference/smallest-eigenvector.ts.
function smallestEigenvector(
  xx: f64,
  xy: f64,
  xz: f64,
  yy: f64,
  yz: f64,
  zz: f64,
  outNormal: usize,
  outVariation: usize,
): void {
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
  let l: f64 = 0;
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
  const ux = b * e - c * q;
  const uy = c * b - p * e;
  const uz = p * q - b * b;
  const vx = b * r - c * e;
  const vy = c * c - p * r;
  const vz = p * e - b * c;
  const wx = q * r - e * e;
  const wy = e * c - b * r;
  const wz = b * e - q * c;
  const vv = vx * vx + vy * vy + vz * vz;
  const ww = wx * wx + wy * wy + wz * wz;
  let nx = ux;
  let ny = uy;
  let nz = uz;
  let nn = ux * ux + uy * uy + uz * uz;
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
  store<f32>(outVariation, <f32>l);
  if (!(nn > LINE_LIMIT)) return;
  const length = 1 / sqrt<f64>(nn);
  store<f32>(outNormal, <f32>(nx * length), 0);
  store<f32>(outNormal, <f32>(ny * length), 4);
  store<f32>(outNormal, <f32>(nz * length), 8);
}
