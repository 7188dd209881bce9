import { INDEX_MASK, isFinite3, LEVEL_COUNT, LEVEL_SHIFT, levelAddress, STACK, TRIANGLE_LEAF } from './layout';
import { firstChild, nodeAddress, pushNearestLast } from './walk';

const FLAT_LIMIT: f64 = 1e-24;
// Boxes are widened by this share of their farthest coordinate from the ray's origin: more than rounding can hide.
const WIDEN: f32 = 2e-6;

// The same operations in the same order as reference/ray-triangle.ts.
function rayDistance(at: usize, x: f64, y: f64, z: f64, dx: f64, dy: f64, dz: f64): f64 {
  const ax = <f64>load<f32>(at, 0) - x;
  const ay = <f64>load<f32>(at, 16) - y;
  const az = <f64>load<f32>(at, 32) - z;
  const ux = <f64>load<f32>(at, 48) - x - ax;
  const uy = <f64>load<f32>(at, 64) - y - ay;
  const uz = <f64>load<f32>(at, 80) - z - az;
  const vx = <f64>load<f32>(at, 96) - x - ax;
  const vy = <f64>load<f32>(at, 112) - y - ay;
  const vz = <f64>load<f32>(at, 128) - z - az;
  const px = dy * vz - dz * vy;
  const py = dz * vx - dx * vz;
  const pz = dx * vy - dy * vx;
  const determinant = ux * px + uy * py + uz * pz;
  const nx = uy * vz - uz * vy;
  const ny = uz * vx - ux * vz;
  const nz = ux * vy - uy * vx;
  const nn = nx * nx + ny * ny + nz * nz;
  const uu = ux * ux + uy * uy + uz * uz;
  const vv = vx * vx + vy * vy + vz * vz;
  if (!(nn > FLAT_LIMIT * (uu * vv))) return Infinity;
  const dd = dx * dx + dy * dy + dz * dz;
  if (!(determinant * determinant > FLAT_LIMIT * (nn * dd))) return Infinity;
  const inverse = 1 / determinant;
  const s = -(ax * px + ay * py + az * pz) * inverse;
  if (!(s >= 0 && s <= 1)) return Infinity;
  const qx = az * uy - ay * uz;
  const qy = ax * uz - az * ux;
  const qz = ay * ux - ax * uy;
  const t = (dx * qx + dy * qy + dz * qz) * inverse;
  if (!(t >= 0 && s + t <= 1)) return Infinity;
  const distance = (vx * qx + vy * qy + vz * qz) * inverse;
  return distance >= 0 ? distance : Infinity;
}

// @ts-ignore: decorator
@inline
function magnitude(v: v128): v128 {
  return f32x4.abs(v);
}

/** First triangle that each ray meets within `limit` lengths of its direction. */
export function castRays(
  tree: usize,
  origins: usize,
  directions: usize,
  count: i32,
  limit: f64,
  outTriangle: usize,
  outDistance: usize,
  scratch: usize,
): void {
  const levels = load<u32>(tree + LEVEL_COUNT);
  const leaves = levelAddress(tree, 0);
  const stack = scratch + STACK;
  for (let i = 0; i < count; i++) {
    const o = origins + <usize>i * 12;
    const r = directions + <usize>i * 12;
    const ox = load<f32>(o);
    const oy = load<f32>(o, 4);
    const oz = load<f32>(o, 8);
    const rx = load<f32>(r);
    const ry = load<f32>(r, 4);
    const rz = load<f32>(r, 8);
    let best: usize = 0;
    let bestId: u32 = 0xffffffff;
    let bestDistance = limit;
    if (isFinite3(ox, oy, oz) && isFinite3(rx, ry, rz) && (rx != 0 || ry != 0 || rz != 0)) {
      const x = f32x4.splat(ox);
      const y = f32x4.splat(oy);
      const z = f32x4.splat(oz);
      // A huge number in place of 1 / 0: a box that the origin is beside is then entered and left at the far end.
      const ix = f32x4.splat(inverseOf(rx));
      const iy = f32x4.splat(inverseOf(ry));
      const iz = f32x4.splat(inverseOf(rz));
      let top = stack + 16;
      store<f32>(top, 0);
      store<u32>(top, levels << LEVEL_SHIFT, 4);
      top += 8;
      do {
        top -= 8;
        if (<f64>load<f32>(top) > bestDistance) continue;
        const code = load<u32>(top, 4);
        const level = code >> LEVEL_SHIFT;
        const index = code & INDEX_MASK;
        if (level) {
          const node = nodeAddress(tree, level, index);
          const lowX = f32x4.sub(v128.load(node, 0), x);
          const lowY = f32x4.sub(v128.load(node, 16), y);
          const lowZ = f32x4.sub(v128.load(node, 32), z);
          const highX = f32x4.sub(v128.load(node, 48), x);
          const highY = f32x4.sub(v128.load(node, 64), y);
          const highZ = f32x4.sub(v128.load(node, 80), z);
          const farX = f32x4.pmax(magnitude(lowX), magnitude(highX));
          const farY = f32x4.pmax(magnitude(lowY), magnitude(highY));
          const farZ = f32x4.pmax(magnitude(lowZ), magnitude(highZ));
          const widen = f32x4.mul(f32x4.pmax(f32x4.pmax(farX, farY), farZ), f32x4.splat(WIDEN));
          const ax = f32x4.mul(f32x4.sub(lowX, widen), ix);
          const bx = f32x4.mul(f32x4.add(highX, widen), ix);
          const ay = f32x4.mul(f32x4.sub(lowY, widen), iy);
          const by = f32x4.mul(f32x4.add(highY, widen), iy);
          const az = f32x4.mul(f32x4.sub(lowZ, widen), iz);
          const bz = f32x4.mul(f32x4.add(highZ, widen), iz);
          const enter = f32x4.pmax(
            f32x4.splat(0),
            f32x4.pmax(f32x4.pmax(f32x4.pmin(ax, bx), f32x4.pmin(ay, by)), f32x4.pmin(az, bz)),
          );
          const leave = f32x4.pmin(f32x4.pmin(f32x4.pmax(ax, bx), f32x4.pmax(ay, by)), f32x4.pmax(az, bz));
          // Entry a little earlier than computed, for the comparison with the best hit.
          const early = f32x4.mul(enter, f32x4.splat(0.999998));
          const reach: f32 = bestDistance < 3e38 ? <f32>bestDistance : f32.MAX_VALUE;
          const hits = i32x4.bitmask(
            v128.and(
              // A lane without a child has its corners the wrong way round.
              f32x4.le(lowX, highX),
              v128.and(f32x4.le(early, leave), f32x4.le(early, f32x4.splat(reach * 1.000001))),
            ),
          );
          if (hits) top = pushNearestLast(top, early, hits, firstChild(level, index), stack);
          continue;
        }
        const leaf = leaves + <usize>index * TRIANGLE_LEAF;
        for (let lane: usize = 0; lane < 16; lane += 4) {
          const d = rayDistance(leaf + lane, ox, oy, oz, rx, ry, rz);
          const id = load<u32>(leaf + lane, 144);
          if (d < bestDistance || (d == bestDistance && d < Infinity && id < bestId)) {
            best = leaf + lane;
            bestId = id;
            bestDistance = d;
          }
        }
      } while (top > stack + 16);
    }
    store<i32>(outTriangle + ((<usize>i) << 2), best ? <i32>bestId : -1);
    store<f32>(outDistance + ((<usize>i) << 2), best ? <f32>bestDistance : Infinity);
  }
}

function inverseOf(v: f32): f32 {
  const inverse: f32 = 1 / v;
  if (v == 0 || inverse - inverse != 0) return v < 0 ? -f32.MAX_VALUE : f32.MAX_VALUE;
  return inverse;
}
