// The k best of a list of candidates, in order of (squared distance, id). A slot is the address of a point's x; its id
// lies 96 bytes on.

/**
 * Writes the first k candidates in order to `outSlots` and `outDistances`, which have room for all candidates.
 *
 * Short lists are ranked without branches: the rank of a candidate is the number of nearer ones. Equal distances give
 * equal ranks, which shows in their sum; then, and for long lists, the list is sorted.
 *
 * @param bound largest squared distance a candidate can have
 * @returns how many were written
 */
export function sortCandidates(
  distances: usize,
  slots: usize,
  ranks: usize,
  table: usize,
  count: u32,
  bound: f32,
  k: u32,
  outSlots: usize,
  outDistances: usize,
): u32 {
  const kept = min<u32>(count, k);
  if (count <= 128) {
    if (count > k + 8) count = dropFar(distances, slots, table, count, bound, k);
    const end = distances + ((<usize>count) << 2);
    v128.store(end, f32x4.splat(Infinity));
    let sums = i32x4.splat(0);
    for (let at = distances; at < end; at += 16) {
      const mine = v128.load(at);
      let rank = i32x4.splat(0);
      let rank2 = i32x4.splat(0);
      for (let other = distances; other < end; other += 16) {
        rank = i32x4.sub(rank, f32x4.lt(v128.load32_splat(other, 0), mine));
        rank2 = i32x4.sub(rank2, f32x4.lt(v128.load32_splat(other, 4), mine));
        rank = i32x4.sub(rank, f32x4.lt(v128.load32_splat(other, 8), mine));
        rank2 = i32x4.sub(rank2, f32x4.lt(v128.load32_splat(other, 12), mine));
      }
      rank = i32x4.add(rank, rank2);
      sums = i32x4.add(sums, rank);
      v128.store(ranks + (at - distances), rank);
    }
    for (let i: usize = 0; i < <usize>count << 2; i += 4) {
      const to = (<usize>load<u32>(ranks + i)) << 2;
      store<u32>(outSlots + to, load<u32>(slots + i));
      store<f32>(outDistances + to, load<f32>(distances + i));
    }
    // Lanes beyond the end have the rank `count`.
    const beyond = (4 - (count & 3)) & 3;
    const sum =
      i32x4.extract_lane(sums, 0) +
      i32x4.extract_lane(sums, 1) +
      i32x4.extract_lane(sums, 2) +
      i32x4.extract_lane(sums, 3) -
      beyond * count;
    if (sum == (count * (count - 1)) >> 1) return kept;
  }
  sort(distances, slots, 0, <i32>count - 1);
  memory.copy(outSlots, slots, (<usize>kept) << 2);
  memory.copy(outDistances, distances, (<usize>kept) << 2);
  return kept;
}

/**
 * Drops candidates that cannot be among the k best, where a guess of the k-th distance turns out large enough: on a
 * surface the number of points grows with the squared distance.
 *
 * @returns how many remain, at least k
 */
function dropFar(distances: usize, slots: usize, table: usize, count: u32, bound: f32, k: u32): u32 {
  // Divided first: an unlimited bound must not overflow, or the empty lanes at the end would count as near.
  const guess = f32x4.splat((bound / <f32>count) * <f32>(k + 5));
  const end = distances + ((<usize>count) << 2);
  v128.store(end, f32x4.splat(Infinity));
  let counts = i32x4.splat(0);
  for (let at = distances; at < end; at += 16) counts = i32x4.sub(counts, f32x4.le(v128.load(at), guess));
  const near =
    i32x4.extract_lane(counts, 0) +
    i32x4.extract_lane(counts, 1) +
    i32x4.extract_lane(counts, 2) +
    i32x4.extract_lane(counts, 3);
  if (near < <i32>k) return count;
  let to: usize = 0;
  for (let at: usize = 0; at < <usize>count << 2; at += 16) {
    const d = v128.load(distances + at);
    const mask = i32x4.bitmask(f32x4.le(d, guess));
    const pack = v128.load(table + ((<usize>mask) << 4));
    const s = v128.load(slots + at);
    v128.store(distances + to, i8x16.swizzle(d, pack));
    v128.store(slots + to, i8x16.swizzle(s, pack));
    to += (<usize>popcnt<i32>(mask)) << 2;
  }
  return <u32>(to >> 2);
}

// @ts-ignore: decorator
@inline
function precedes(distance: f32, slot: u32, otherDistance: f32, other: u32): bool {
  return (
    distance < otherDistance ||
    (distance == otherDistance && load<u32>(<usize>slot, 96) < load<u32>(<usize>other, 96))
  );
}

function sort(distances: usize, slots: usize, left: i32, right: i32): void {
  while (right - left > 12) {
    const middle = (<usize>((left + right) >> 1)) << 2;
    const pivot = load<f32>(distances + middle);
    const pivotSlot = load<u32>(slots + middle);
    let i = left;
    let j = right;
    while (i <= j) {
      while (precedes(load<f32>(distances + ((<usize>i) << 2)), load<u32>(slots + ((<usize>i) << 2)), pivot, pivotSlot)) i++;
      while (precedes(pivot, pivotSlot, load<f32>(distances + ((<usize>j) << 2)), load<u32>(slots + ((<usize>j) << 2)))) j--;
      if (i <= j) {
        const a = (<usize>i) << 2;
        const b = (<usize>j) << 2;
        const d = load<f32>(distances + a);
        const s = load<u32>(slots + a);
        store<f32>(distances + a, load<f32>(distances + b));
        store<u32>(slots + a, load<u32>(slots + b));
        store<f32>(distances + b, d);
        store<u32>(slots + b, s);
        i++;
        j--;
      }
    }
    if (j - left < right - i) {
      sort(distances, slots, left, j);
      left = i;
    } else {
      sort(distances, slots, i, right);
      right = j;
    }
  }
  for (let i = left + 1; i <= right; i++) {
    const d = load<f32>(distances + ((<usize>i) << 2));
    const s = load<u32>(slots + ((<usize>i) << 2));
    let j = i;
    while (j > left) {
      const b = (<usize>(j - 1)) << 2;
      if (!precedes(d, s, load<f32>(distances + b), load<u32>(slots + b))) break;
      store<f32>(distances + b + 4, load<f32>(distances + b));
      store<u32>(slots + b + 4, load<u32>(slots + b));
      j--;
    }
    store<f32>(distances + ((<usize>j) << 2), d);
    store<u32>(slots + ((<usize>j) << 2), s);
  }
}
