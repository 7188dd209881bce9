import { F32_LARGEST, INDEX_MASK, isFinite3, LEVEL_COUNT, LEVEL_SHIFT, levelAddress, STACK, TRIANGLE_LEAF } from './layout';
import { boxDistances, firstChild, nodeAddress, pushNearestLast } from './walk';

// Squared sine of the angle between two edges below which a triangle counts as its edges.
const FLAT_LIMIT: f64 = 1e-24;
// Boxes are kept where float32 rounding could hide a triangle that is as near as the best one.
const SLACK: f64 = 1.000001;

// Closest point of the last triangle, relative to the query, and its squared distance.
let px: f64 = 0;
let py: f64 = 0;
let pz: f64 = 0;
let pd: f64 = 0;

// @ts-ignore: decorator
@inline
function give(x: f64, y: f64, z: f64): void {
  px = x;
  py = y;
  pz = z;
  pd = x * x + y * y + z * z;
}

function closestOnEdge(ax: f64, ay: f64, az: f64, ux: f64, uy: f64, uz: f64, uu: f64): void {
  const along = -(ax * ux + ay * uy + az * uz);
  const t: f64 = along > 0 ? (along < uu ? along / uu : 1) : 0;
  const x = ax + t * ux;
  const y = ay + t * uy;
  const z = az + t * uz;
  if (x * x + y * y + z * z < pd) give(x, y, z);
}

// The same operations in the same order as reference/closest-point-on-triangle.ts.
function closestOfTriangle(at: usize, x: f64, y: f64, z: f64): void {
  const ax = <f64>load<f32>(at, 0) - x;
  const ay = <f64>load<f32>(at, 16) - y;
  const az = <f64>load<f32>(at, 32) - z;
  const bx = <f64>load<f32>(at, 48) - x;
  const by = <f64>load<f32>(at, 64) - y;
  const bz = <f64>load<f32>(at, 80) - z;
  const cx = <f64>load<f32>(at, 96) - x;
  const cy = <f64>load<f32>(at, 112) - y;
  const cz = <f64>load<f32>(at, 128) - z;
  const ux = bx - ax;
  const uy = by - ay;
  const uz = bz - az;
  const vx = cx - ax;
  const vy = cy - ay;
  const vz = cz - az;
  const nx = uy * vz - uz * vy;
  const ny = uz * vx - ux * vz;
  const nz = ux * vy - uy * vx;
  const uu = ux * ux + uy * uy + uz * uz;
  const vv = vx * vx + vy * vy + vz * vz;
  if (!(nx * nx + ny * ny + nz * nz > FLAT_LIMIT * (uu * vv))) {
    pd = Infinity;
    closestOnEdge(ax, ay, az, ux, uy, uz, uu);
    closestOnEdge(ax, ay, az, vx, vy, vz, vv);
    const wx = cx - bx;
    const wy = cy - by;
    const wz = cz - bz;
    closestOnEdge(bx, by, bz, wx, wy, wz, wx * wx + wy * wy + wz * wz);
    return;
  }
  const d1 = -(ux * ax + uy * ay + uz * az);
  const d2 = -(vx * ax + vy * ay + vz * az);
  if (d1 <= 0 && d2 <= 0) return give(ax, ay, az);
  const d3 = -(ux * bx + uy * by + uz * bz);
  const d4 = -(vx * bx + vy * by + vz * bz);
  if (d3 >= 0 && d4 <= d3) return give(bx, by, bz);
  const vc = d1 * d4 - d3 * d2;
  if (vc <= 0 && d1 >= 0 && d3 <= 0) {
    const t = d1 / (d1 - d3);
    return give(ax + t * ux, ay + t * uy, az + t * uz);
  }
  const d5 = -(ux * cx + uy * cy + uz * cz);
  const d6 = -(vx * cx + vy * cy + vz * cz);
  if (d6 >= 0 && d5 <= d6) return give(cx, cy, cz);
  const vb = d5 * d2 - d1 * d6;
  if (vb <= 0 && d2 >= 0 && d6 <= 0) {
    const t = d2 / (d2 - d6);
    return give(ax + t * vx, ay + t * vy, az + t * vz);
  }
  const va = d3 * d6 - d5 * d4;
  const d43 = d4 - d3;
  const d56 = d5 - d6;
  if (va <= 0 && d43 >= 0 && d56 >= 0) {
    const t = d43 / (d43 + d56);
    return give(bx + t * (cx - bx), by + t * (cy - by), bz + t * (cz - bz));
  }
  const s = 1 / (va + vb + vc);
  const v = vb * s;
  const w = vc * s;
  give(ax + ux * v + vx * w, ay + uy * v + vy * w, az + uz * v + vz * w);
}

// @ts-ignore: decorator
@inline
function boundOf(squared: f64): f32 {
  const bound = squared * SLACK;
  return bound < <f64>F32_LARGEST ? <f32>bound : F32_LARGEST;
}

// Squared distances to the boxes of the four triangles of a leaf.
// @ts-ignore: decorator
@inline
function triangleBoxDistances(leaf: usize, x: v128, y: v128, z: v128): v128 {
  const zero = f32x4.splat(0);
  const ax = v128.load(leaf, 0);
  const ay = v128.load(leaf, 16);
  const az = v128.load(leaf, 32);
  const bx = v128.load(leaf, 48);
  const by = v128.load(leaf, 64);
  const bz = v128.load(leaf, 80);
  const cx = v128.load(leaf, 96);
  const cy = v128.load(leaf, 112);
  const cz = v128.load(leaf, 128);
  const dx = f32x4.pmax(
    zero,
    f32x4.pmax(
      f32x4.sub(f32x4.pmin(f32x4.pmin(ax, bx), cx), x),
      f32x4.sub(x, f32x4.pmax(f32x4.pmax(ax, bx), cx)),
    ),
  );
  const dy = f32x4.pmax(
    zero,
    f32x4.pmax(
      f32x4.sub(f32x4.pmin(f32x4.pmin(ay, by), cy), y),
      f32x4.sub(y, f32x4.pmax(f32x4.pmax(ay, by), cy)),
    ),
  );
  const dz = f32x4.pmax(
    zero,
    f32x4.pmax(
      f32x4.sub(f32x4.pmin(f32x4.pmin(az, bz), cz), z),
      f32x4.sub(z, f32x4.pmax(f32x4.pmax(az, bz), cz)),
    ),
  );
  return f32x4.add(f32x4.add(f32x4.mul(dx, dx), f32x4.mul(dy, dy)), f32x4.mul(dz, dz));
}

/** Closest point of the mesh to each query, at most sqrt(limit) away. The search starts from the last query's triangle. */
export function closestPoints(
  tree: usize,
  queries: usize,
  count: i32,
  limit: f64,
  outTriangle: usize,
  outPoint: usize,
  outDistance: usize,
  scratch: usize,
): void {
  const levels = load<u32>(tree + LEVEL_COUNT);
  const leaves = levelAddress(tree, 0);
  const stack = scratch + STACK;
  let last: usize = 0;
  for (let i = 0; i < count; i++) {
    const at = queries + <usize>i * 12;
    const fx = load<f32>(at);
    const fy = load<f32>(at, 4);
    const fz = load<f32>(at, 8);
    const x = <f64>fx;
    const y = <f64>fy;
    const z = <f64>fz;
    let best: usize = 0;
    let bestId: u32 = 0xffffffff;
    let bestDistance = limit;
    let bx: f64 = 0;
    let by: f64 = 0;
    let bz: f64 = 0;
    if (isFinite3(fx, fy, fz)) {
      if (last) {
        closestOfTriangle(last, x, y, z);
        if (pd <= bestDistance) {
          best = last;
          bestId = load<u32>(last, 144);
          bestDistance = pd;
          bx = px;
          by = py;
          bz = pz;
        }
      }
      let bound = boundOf(bestDistance);
      const qx = f32x4.splat(fx);
      const qy = f32x4.splat(fy);
      const qz = f32x4.splat(fz);
      let top = stack + 16;
      store<f32>(top, 0);
      store<u32>(top, levels << LEVEL_SHIFT, 4);
      top += 8;
      do {
        top -= 8;
        if (load<f32>(top) > bound) continue;
        const code = load<u32>(top, 4);
        const level = code >> LEVEL_SHIFT;
        const index = code & INDEX_MASK;
        if (level) {
          const d = boxDistances(nodeAddress(tree, level, index), qx, qy, qz);
          const hits = i32x4.bitmask(f32x4.le(d, f32x4.splat(bound)));
          if (hits) top = pushNearestLast(top, d, hits, firstChild(level, index), stack);
          continue;
        }
        const leaf = leaves + <usize>index * TRIANGLE_LEAF;
        const d = triangleBoxDistances(leaf, qx, qy, qz);
        let hits = i32x4.bitmask(f32x4.le(d, f32x4.splat(bound)));
        for (; hits; hits &= hits - 1) {
          const triangle = leaf + ((<usize>ctz<i32>(hits)) << 2);
          if (triangle == last) continue;
          closestOfTriangle(triangle, x, y, z);
          const id = load<u32>(triangle, 144);
          if (pd < bestDistance || (pd == bestDistance && id < bestId)) {
            best = triangle;
            bestId = id;
            bestDistance = pd;
            bound = boundOf(pd);
            bx = px;
            by = py;
            bz = pz;
          }
        }
      } while (top > stack + 16);
    }
    if (best) last = best;
    store<i32>(outTriangle + ((<usize>i) << 2), best ? <i32>bestId : -1);
    const point = outPoint + <usize>i * 12;
    store<f32>(point, best ? <f32>(x + bx) : NaN, 0);
    store<f32>(point, best ? <f32>(y + by) : NaN, 4);
    store<f32>(point, best ? <f32>(z + bz) : NaN, 8);
    store<f32>(outDistance + ((<usize>i) << 2), best ? <f32>bestDistance : Infinity);
  }
}
