import {
  CANDIDATES,
  ENTRY_COUNT,
  F32_LARGEST,
  INDEX_MASK,
  isFinite3,
  LEAF_COUNT,
  LEVEL_COUNT,
  LEVEL_SHIFT,
  levelAddress,
  PACK_TABLE,
  POINT_LEAF,
  RECENT,
  STACK,
} from './layout';
import { sortCandidates } from './sort-candidates';
import { boxDistances, firstChild, nodeAddress, pointDistances } from './walk';

/** Candidates held before they are cut back to the k best. */
// @ts-ignore: decorator
@inline
function capacityFor(k: u32): u32 {
  return max<u32>(128, (2 * k + 7) & ~3);
}

/** Bytes of scratch that a search for k neighbours needs. */
export function scratchSize(k: u32): usize {
  return CANDIDATES + <usize>(capacityFor(k) + 16) * 20;
}

// Result of the last search: found slots (addresses of x) and squared distances, ascending by (distance, id).
export let slots: usize = 0;
export let distances: usize = 0;

// The last eight searches that found k points: centre x[8] y[8] z[8] and reach[8] (distance of the k-th point). They bound
// the next search. Kept in the scratch.
let next: usize = 0;

/** Forgets earlier searches; call it when tree or k change. */
export function startSearch(scratch: usize): void {
  for (let o: usize = 0; o < 128; o += 16) v128.store(scratch + RECENT + o, f32x4.splat(Infinity));
  next = 0;
}

// @ts-ignore: decorator
@inline
function remember(scratch: usize, x: f32, y: f32, z: f32, reach: f32): void {
  const at = scratch + RECENT + (next << 2);
  store<f32>(at, x, 0);
  store<f32>(at, y, 32);
  store<f32>(at, z, 64);
  store<f32>(at, reach, 96);
  next = (next + 1) & 7;
}

/**
 * Finds the k nearest points of a finite query.
 *
 * First a bound: the k neighbours of the last query are at most its reach plus the step away (triangle inequality), or,
 * after a long step, the farthest of k points in the nearest cell. Then every point within the bound is collected and
 * the k best are ranked.
 *
 * @returns how many were found, at most k
 */
export function findNearest(tree: usize, x: f32, y: f32, z: f32, k: u32, scratch: usize): u32 {
  const capacity = capacityFor(k);
  const candidateDistances = scratch + CANDIDATES;
  const candidateSlots = candidateDistances + ((<usize>capacity + 16) << 2);
  const ranks = candidateSlots + ((<usize>capacity + 16) << 2);
  slots = ranks + ((<usize>capacity + 16) << 2);
  distances = slots + ((<usize>capacity + 16) << 2);

  let bound = firstBound(tree, x, y, z, k, scratch);
  let boundId: u32 = 0xffffffff;
  const levels = load<u32>(tree + LEVEL_COUNT);
  const leaves = levelAddress(tree, 0);
  const stack = scratch + STACK;
  const table = scratch + PACK_TABLE;
  const qx = f32x4.splat(x);
  const qy = f32x4.splat(y);
  const qz = f32x4.splat(z);
  const lanes = i32x4(0, 4, 8, 12);
  let bounds = f32x4.splat(bound);
  let count: u32 = 0;
  let top = stack;
  store<u32>(top, levels << LEVEL_SHIFT);
  top += 4;
  do {
    top -= 4;
    const code = load<u32>(top);
    const level = code >> LEVEL_SHIFT;
    const index = code & INDEX_MASK;
    if (level) {
      const node = nodeAddress(tree, level, index);
      const d = boxDistances(node, qx, qy, qz);
      const child = firstChild(level, index);
      let hits = i32x4.bitmask(
        v128.or(
          f32x4.lt(d, bounds),
          v128.and(f32x4.eq(d, bounds), i32x4.le_u(v128.load(node, 96), i32x4.splat(boundId))),
        ),
      );
      for (; hits; hits &= hits - 1) {
        store<u32>(top, child + ctz<i32>(hits));
        top += 4;
      }
      continue;
    }
    const leaf = leaves + <usize>index * POINT_LEAF;
    for (let half: usize = 0; half < 32; half += 16) {
      const d = pointDistances(leaf + half, qx, qy, qz);
      const hits = i32x4.bitmask(f32x4.le(d, bounds));
      if (!hits) continue;
      const pack = v128.load(table + ((<usize>hits) << 4));
      v128.store(candidateDistances + ((<usize>count) << 2), i8x16.swizzle(d, pack));
      const here = i32x4.add(i32x4.splat(<i32>(leaf + half)), lanes);
      v128.store(candidateSlots + ((<usize>count) << 2), i8x16.swizzle(here, pack));
      count += popcnt<i32>(hits);
    }
    if (count + 8 > capacity) {
      count = sortCandidates(candidateDistances, candidateSlots, ranks, table, count, bound, k, slots, distances);
      memory.copy(candidateDistances, distances, (<usize>count) << 2);
      memory.copy(candidateSlots, slots, (<usize>count) << 2);
      if (count == k) {
        bound = load<f32>(distances + ((<usize>(k - 1)) << 2));
        boundId = load<u32>(<usize>load<u32>(slots + ((<usize>(k - 1)) << 2)), 96);
        bounds = f32x4.splat(bound);
      }
    }
  } while (top > stack);
  count = sortCandidates(candidateDistances, candidateSlots, ranks, table, count, bound, k, slots, distances);
  if (count == k) remember(scratch, x, y, z, sqrt<f32>(load<f32>(distances + ((<usize>(k - 1)) << 2))));
  return count;
}

function firstBound(tree: usize, x: f32, y: f32, z: f32, k: u32, scratch: usize): f32 {
  const recent = scratch + RECENT;
  const qx = f32x4.splat(x);
  const qy = f32x4.splat(y);
  const qz = f32x4.splat(z);
  const step = f32x4.sqrt(pointDistances(recent, qx, qy, qz));
  const step2 = f32x4.sqrt(pointDistances(recent + 16, qx, qy, qz));
  const reach = f32x4.add(step, v128.load(recent, 96));
  const reach2 = f32x4.add(step2, v128.load(recent, 112));
  const least = f32x4.pmin(reach, reach2);
  const pairs = f32x4.pmin(least, v128.shuffle<i32>(least, least, 2, 3, 0, 1));
  const best = f32x4.extract_lane(f32x4.pmin(pairs, v128.shuffle<i32>(pairs, pairs, 1, 0, 3, 2)), 0);
  // 1e-5 covers the float32 rounding of all distances many times, as long as their squares do not underflow.
  const bound = best * best * <f32>1.00001;
  if (bound > <f32>1e-30 && bound < F32_LARGEST && best < 2 * typicalReach(recent)) return bound;
  return cellBound(tree, x, y, z, k);
}

// Reach of the last search: after a long step the cell's bound is better than the triangle inequality.
// @ts-ignore: decorator
@inline
function typicalReach(recent: usize): f32 {
  return load<f32>(recent + (((next + 7) & 7) << 2), 96);
}

/** Largest squared distance to the points of the nearest cell that holds at least k points. */
function cellBound(tree: usize, x: f32, y: f32, z: f32, k: u32): f32 {
  const qx = f32x4.splat(x);
  const qy = f32x4.splat(y);
  const qz = f32x4.splat(z);
  let level = load<u32>(tree + LEVEL_COUNT);
  let index: u32 = 0;
  while (level > 0 && (<u32>8 << (2 * (level - 1))) >= k) {
    const d = boxDistances(nodeAddress(tree, level, index), qx, qy, qz);
    let child: u32 = 0;
    let least = f32x4.extract_lane(d, 0);
    if (f32x4.extract_lane(d, 1) < least) {
      least = f32x4.extract_lane(d, 1);
      child = 1;
    }
    if (f32x4.extract_lane(d, 2) < least) {
      least = f32x4.extract_lane(d, 2);
      child = 2;
    }
    if (f32x4.extract_lane(d, 3) < least) child = 3;
    level--;
    index = (index << 2) | child;
  }
  const leafCount = load<u32>(tree + LEAF_COUNT);
  const first = index << (2 * level);
  const last = min<u32>(leafCount, (index + 1) << (2 * level));
  const held = min<u32>(last * 8, load<u32>(tree + ENTRY_COUNT)) - first * 8;
  if (held < k) return F32_LARGEST;
  let largest = f32x4.splat(0);
  for (let leaf = first; leaf < last; leaf++) {
    const at = levelAddress(tree, 0) + <usize>leaf * POINT_LEAF;
    largest = f32x4.pmax(largest, pointDistances(at, qx, qy, qz));
    largest = f32x4.pmax(largest, pointDistances(at + 16, qx, qy, qz));
  }
  const pairs = f32x4.pmax(largest, v128.shuffle<i32>(largest, largest, 2, 3, 0, 1));
  const most = f32x4.extract_lane(f32x4.pmax(pairs, v128.shuffle<i32>(pairs, pairs, 1, 0, 3, 2)), 0);
  return min<f32>(most, F32_LARGEST);
}

/** The k nearest points of each query. */
export function kNearest(
  tree: usize,
  queries: usize,
  count: i32,
  k: u32,
  outIndex: usize,
  outDistance: usize,
  scratch: usize,
): void {
  startSearch(scratch);
  for (let i = 0; i < count; i++) {
    const at = queries + <usize>i * 12;
    const x = load<f32>(at);
    const y = load<f32>(at, 4);
    const z = load<f32>(at, 8);
    const found = isFinite3(x, y, z) ? findNearest(tree, x, y, z, k, scratch) : 0;
    const index = outIndex + ((<usize>i * <usize>k) << 2);
    const distance = outDistance + ((<usize>i * <usize>k) << 2);
    memory.copy(distance, distances, (<usize>found) << 2);
    for (let j: u32 = 0; j < found; j++) {
      store<i32>(index + ((<usize>j) << 2), load<i32>(<usize>load<u32>(slots + ((<usize>j) << 2)), 96));
    }
    for (let j: u32 = found; j < k; j++) {
      store<i32>(index + ((<usize>j) << 2), -1);
      store<f32>(distance + ((<usize>j) << 2), Infinity);
    }
  }
}
