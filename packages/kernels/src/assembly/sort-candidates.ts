// The k best of a list of candidates, in order of (squared distance, id). A slot is the address of a point's x; its id
// lies 96 bytes on.

/**
 * Writes the first k candidates in order to `outSlots` and `outDistances`.
 *
 * Short lists are ranked without branches: the rank of a candidate is the number of nearer ones. Equal distances give
 * equal ranks, which shows in their sum; then, and for long lists, the list is sorted.
 *
 * @returns how many were written
 */
export function sortCandidates(
  distances: usize,
  slots: usize,
  ranks: usize,
  count: u32,
  k: u32,
  outSlots: usize,
  outDistances: usize,
): u32 {
  const kept = min<u32>(count, k);
  if (count <= 128) {
    const end = distances + ((<usize>count) << 2);
    v128.store(end, f32x4.splat(Infinity));
    for (let at = distances; at < end; at += 16) {
      const mine = v128.load(at);
      let rank = i32x4.splat(0);
      for (let other = distances; other < end; other += 16) {
        rank = i32x4.sub(rank, f32x4.lt(v128.load32_splat(other, 0), mine));
        rank = i32x4.sub(rank, f32x4.lt(v128.load32_splat(other, 4), mine));
        rank = i32x4.sub(rank, f32x4.lt(v128.load32_splat(other, 8), mine));
        rank = i32x4.sub(rank, f32x4.lt(v128.load32_splat(other, 12), mine));
      }
      v128.store(ranks + (at - distances), rank);
    }
    let sum: u32 = 0;
    let written: u32 = 0;
    for (let i: usize = 0; i < <usize>count << 2; i += 4) {
      const rank = load<u32>(ranks + i);
      if (rank < k) {
        store<u32>(outSlots + ((<usize>rank) << 2), load<u32>(slots + i));
        store<f32>(outDistances + ((<usize>rank) << 2), load<f32>(distances + i));
        sum += rank;
        written++;
      }
    }
    if (written == kept && sum == (kept * (kept - 1)) >> 1) return kept;
  }
  sort(distances, slots, 0, <i32>count - 1);
  memory.copy(outSlots, slots, (<usize>kept) << 2);
  memory.copy(outDistances, distances, (<usize>kept) << 2);
  return kept;
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
