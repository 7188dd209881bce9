import { LEVEL_SHIFT, NODE_SIZE, levelAddress } from './layout';

// Squared distances from a point to the four boxes of a node, every operation in float32 and in the same order as for
// a point: rounding is monotone, so a box is never farther than a point in it.
// @ts-ignore: decorator
@inline
export function boxDistances(node: usize, x: v128, y: v128, z: v128): v128 {
  const zero = f32x4.splat(0);
  const dx = f32x4.pmax(zero, f32x4.pmax(f32x4.sub(v128.load(node, 0), x), f32x4.sub(x, v128.load(node, 48))));
  const dy = f32x4.pmax(zero, f32x4.pmax(f32x4.sub(v128.load(node, 16), y), f32x4.sub(y, v128.load(node, 64))));
  const dz = f32x4.pmax(zero, f32x4.pmax(f32x4.sub(v128.load(node, 32), z), f32x4.sub(z, v128.load(node, 80))));
  return f32x4.add(f32x4.add(f32x4.mul(dx, dx), f32x4.mul(dy, dy)), f32x4.mul(dz, dz));
}

// @ts-ignore: decorator
@inline
export function pointDistances(leaf: usize, x: v128, y: v128, z: v128): v128 {
  const dx = f32x4.sub(x, v128.load(leaf, 0));
  const dy = f32x4.sub(y, v128.load(leaf, 32));
  const dz = f32x4.sub(z, v128.load(leaf, 64));
  return f32x4.add(f32x4.add(f32x4.mul(dx, dx), f32x4.mul(dy, dy)), f32x4.mul(dz, dz));
}

// Squared distance to the point in a slot (address of its x).
// @ts-ignore: decorator
@inline
export function slotDistance(slot: usize, x: f32, y: f32, z: f32): f32 {
  const dx = x - load<f32>(slot, 0);
  const dy = y - load<f32>(slot, 32);
  const dz = z - load<f32>(slot, 64);
  return dx * dx + dy * dy + dz * dz;
}

// Which lanes come before (bound, id): nearer, or as near with a lower id.
// @ts-ignore: decorator
@inline
export function preceding(distances: v128, ids: v128, bound: v128, id: v128): i32 {
  return i32x4.bitmask(
    v128.or(f32x4.lt(distances, bound), v128.and(f32x4.eq(distances, bound), i32x4.lt_u(ids, id))),
  );
}

// Pushes the children named by `hits` so that the nearest one is popped first; returns the new top of the stack.
// @ts-ignore: decorator
@inline
export function pushNearestLast(top: usize, distances: v128, hits: i32, code: u32, lanes: usize): usize {
  v128.store(lanes, distances);
  const base = top;
  do {
    const lane = ctz<i32>(hits);
    hits &= hits - 1;
    const d = load<f32>(lanes + ((<usize>lane) << 2));
    let at = top;
    while (at > base && load<f32>(at - 8) < d) {
      store<u64>(at, load<u64>(at - 8));
      at -= 8;
    }
    store<f32>(at, d);
    store<u32>(at, code + <u32>lane, 4);
    top += 8;
  } while (hits);
  return top;
}

// Code of the first child of a node.
// @ts-ignore: decorator
@inline
export function firstChild(level: u32, index: u32): u32 {
  return ((level - 1) << LEVEL_SHIFT) | (index << 2);
}

// @ts-ignore: decorator
@inline
export function nodeAddress(tree: usize, level: u32, index: u32): usize {
  return levelAddress(tree, level) + <usize>index * NODE_SIZE;
}
