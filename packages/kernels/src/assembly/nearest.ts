import { F32_LARGEST, INDEX_MASK, isFinite3, LEVEL_COUNT, LEVEL_SHIFT, levelAddress, POINT_LEAF, STACK } from './layout';
import { boxDistances, firstChild, nodeAddress, pointDistances, preceding, pushNearestLast, slotDistance } from './walk';

/** Nearest point of each query, at most sqrt(limit) away. The search starts from the last query's answer. */
export function nearest(
  tree: usize,
  queries: usize,
  count: i32,
  limit: f32,
  outIndex: usize,
  outDistance: usize,
  scratch: usize,
): void {
  const levels = load<u32>(tree + LEVEL_COUNT);
  const leaves = levelAddress(tree, 0);
  const stack = scratch + STACK;
  const largest = min<f32>(limit, F32_LARGEST);
  let last: usize = 0;
  for (let i = 0; i < count; i++) {
    const at = queries + <usize>i * 12;
    const x = load<f32>(at);
    const y = load<f32>(at, 4);
    const z = load<f32>(at, 8);
    let best: usize = 0;
    let bestDistance = largest;
    let bestId: u32 = 0xffffffff;
    if (isFinite3(x, y, z)) {
      if (last) {
        const d = slotDistance(last, x, y, z);
        if (d <= bestDistance) {
          best = last;
          bestDistance = d;
          bestId = load<u32>(last, 96);
        }
      }
      const qx = f32x4.splat(x);
      const qy = f32x4.splat(y);
      const qz = f32x4.splat(z);
      let top = stack + 16;
      store<f32>(top, 0);
      store<u32>(top, levels << LEVEL_SHIFT, 4);
      top += 8;
      do {
        top -= 8;
        if (load<f32>(top) > bestDistance) continue;
        const code = load<u32>(top, 4);
        const level = code >> LEVEL_SHIFT;
        const index = code & INDEX_MASK;
        if (level) {
          const node = nodeAddress(tree, level, index);
          const d = boxDistances(node, qx, qy, qz);
          const hits = preceding(d, v128.load(node, 96), f32x4.splat(bestDistance), i32x4.splat(bestId));
          if (hits) top = pushNearestLast(top, d, hits, firstChild(level, index), stack);
          continue;
        }
        const leaf = leaves + <usize>index * POINT_LEAF;
        for (let half: usize = 0; half < 32; half += 16) {
          const d = pointDistances(leaf + half, qx, qy, qz);
          let hits = preceding(d, v128.load(leaf + half, 96), f32x4.splat(bestDistance), i32x4.splat(bestId));
          if (!hits) continue;
          v128.store(stack, d);
          do {
            const lane = (<usize>ctz<i32>(hits)) << 2;
            hits &= hits - 1;
            const distance = load<f32>(stack + lane);
            const id = load<u32>(leaf + half + lane, 96);
            if (distance < bestDistance || (distance == bestDistance && id < bestId)) {
              best = leaf + half + lane;
              bestDistance = distance;
              bestId = id;
            }
          } while (hits);
        }
      } while (top > stack + 16);
    }
    if (best) last = best;
    store<i32>(outIndex + ((<usize>i) << 2), best ? <i32>bestId : -1);
    store<f32>(outDistance + ((<usize>i) << 2), best ? bestDistance : Infinity);
  }
}

/**
 * Points at most sqrt(limit) away from each query, by ascending id. Stops before a query whose answer no longer fits.
 *
 * @returns how many queries were answered; their end offsets are in `outEnds`
 */
export function withinRadius(
  tree: usize,
  queries: usize,
  count: i32,
  limit: f32,
  outEnds: usize,
  out: usize,
  capacity: u32,
  scratch: usize,
): i32 {
  const levels = load<u32>(tree + LEVEL_COUNT);
  const leaves = levelAddress(tree, 0);
  const stack = scratch + STACK;
  const bound = f32x4.splat(min<f32>(limit, F32_LARGEST));
  let found: u32 = 0;
  for (let i = 0; i < count; i++) {
    const at = queries + <usize>i * 12;
    const x = load<f32>(at);
    const y = load<f32>(at, 4);
    const z = load<f32>(at, 8);
    const first = found;
    if (isFinite3(x, y, z)) {
      const qx = f32x4.splat(x);
      const qy = f32x4.splat(y);
      const qz = f32x4.splat(z);
      let top = stack;
      store<u32>(top, levels << LEVEL_SHIFT);
      top += 4;
      do {
        top -= 4;
        const code = load<u32>(top);
        const level = code >> LEVEL_SHIFT;
        const index = code & INDEX_MASK;
        if (level) {
          const d = boxDistances(nodeAddress(tree, level, index), qx, qy, qz);
          const child = firstChild(level, index);
          for (let hits = i32x4.bitmask(f32x4.le(d, bound)); hits; hits &= hits - 1) {
            store<u32>(top, child + ctz<i32>(hits));
            top += 4;
          }
          continue;
        }
        if (found + 8 > capacity) return i;
        const leaf = leaves + <usize>index * POINT_LEAF;
        for (let half: usize = 0; half < 32; half += 16) {
          const d = pointDistances(leaf + half, qx, qy, qz);
          for (let hits = i32x4.bitmask(f32x4.le(d, bound)); hits; hits &= hits - 1) {
            store<u32>(out + ((<usize>found) << 2), load<u32>(leaf + half + ((<usize>ctz<i32>(hits)) << 2), 96));
            found++;
          }
        }
      } while (top > stack);
      sortIds(out, <i32>first, <i32>found - 1);
    }
    store<u32>(outEnds + ((<usize>i) << 2), found);
  }
  return count;
}

function sortIds(base: usize, left: i32, right: i32): void {
  while (right - left > 16) {
    const pivot = load<u32>(base + ((<usize>((left + right) >> 1)) << 2));
    let i = left;
    let j = right;
    while (i <= j) {
      while (load<u32>(base + ((<usize>i) << 2)) < pivot) i++;
      while (load<u32>(base + ((<usize>j) << 2)) > pivot) j--;
      if (i <= j) {
        const swap = load<u32>(base + ((<usize>i) << 2));
        store<u32>(base + ((<usize>i) << 2), load<u32>(base + ((<usize>j) << 2)));
        store<u32>(base + ((<usize>j) << 2), swap);
        i++;
        j--;
      }
    }
    // The shorter side by recursion: the native stack stays shallow.
    if (j - left < right - i) {
      sortIds(base, left, j);
      left = i;
    } else {
      sortIds(base, i, right);
      right = j;
    }
  }
  for (let i = left + 1; i <= right; i++) {
    const value = load<u32>(base + ((<usize>i) << 2));
    let j = i;
    while (j > left && load<u32>(base + ((<usize>(j - 1)) << 2)) > value) {
      store<u32>(base + ((<usize>j) << 2), load<u32>(base + ((<usize>(j - 1)) << 2)));
      j--;
    }
    store<u32>(base + ((<usize>j) << 2), value);
  }
}
