// Selection of 16-byte records (three float32 keys and an id) by one of their keys.

/**
 * Rearranges records left..right so that record k is where a sort would put it.
 * Floyd & Rivest 1975 (Algorithm 489); the sample size needs no accuracy, so integer logarithms do.
 */
export function selectRecord(base: usize, left: i32, right: i32, k: i32, key: usize): void {
  while (right > left) {
    if (right - left > 600) {
      const n = <f64>(right - left + 1);
      const i = <f64>(k - left + 1);
      const bits = 31 - clz<i32>(right - left + 1);
      const z = <f64>bits * 0.6931471805599453;
      const s = 0.5 * sqrt<f64>(n) * <f64>(1 << (bits / 6));
      const d = 0.5 * sqrt<f64>((z * s * (n - s)) / n) * (i - n / 2 < 0 ? -1 : 1);
      const newLeft = max<i32>(left, <i32>floor<f64>(<f64>k - (i * s) / n + d));
      const newRight = min<i32>(right, <i32>floor<f64>(<f64>k + ((n - i) * s) / n + d));
      selectRecord(base, newLeft, newRight, k, key);
    }
    const pivot = load<f32>(base + ((<usize>k) << 4) + key);
    let i = left;
    let j = right;
    while (i <= j) {
      while (load<f32>(base + ((<usize>i) << 4) + key) < pivot) i++;
      while (load<f32>(base + ((<usize>j) << 4) + key) > pivot) j--;
      if (i <= j) {
        const a = base + ((<usize>i) << 4);
        const b = base + ((<usize>j) << 4);
        const swap = v128.load(a);
        v128.store(a, v128.load(b));
        v128.store(b, swap);
        i++;
        j--;
      }
    }
    if (k <= j) right = j;
    else if (k >= i) left = i;
    else return;
  }
}

/** Key (0, 4 or 8) along which the records left..right-1 reach farthest. */
export function widestKey(base: usize, left: i32, right: i32): usize {
  let low = v128.load(base + ((<usize>left) << 4));
  let high = low;
  const end = base + ((<usize>right) << 4);
  for (let at = base + ((<usize>left) << 4); at < end; at += 16) {
    const v = v128.load(at);
    low = f32x4.pmin(low, v);
    high = f32x4.pmax(high, v);
  }
  const extent = f32x4.sub(high, low);
  const x = f32x4.extract_lane(extent, 0);
  const y = f32x4.extract_lane(extent, 1);
  const z = f32x4.extract_lane(extent, 2);
  if (x >= y && x >= z) return 0;
  return y >= z ? 4 : 8;
}

/**
 * Puts records into the order of the tree: leaves first..last-1 hold `leafSize` records each, and every group of
 * 4^level leaves is a cell. Splits halve a cell at a multiple of a child's size, along its widest side.
 */
export function orderRecords(base: usize, count: i32, leafSize: i32, first: i32, last: i32, level: i32): void {
  if (level == 0 || last - first <= 1) return;
  const child = 1 << (2 * (level - 1));
  splitAt(base, count, leafSize, first, last, first + 2 * child);
  splitAt(base, count, leafSize, first, min<i32>(last, first + 2 * child), first + child);
  splitAt(base, count, leafSize, first + 2 * child, last, first + 3 * child);
  for (let c = 0; c < 4; c++) {
    const from = first + c * child;
    if (from < last) orderRecords(base, count, leafSize, from, min<i32>(last, from + child), level - 1);
  }
}

function splitAt(base: usize, count: i32, leafSize: i32, first: i32, last: i32, middle: i32): void {
  if (middle >= last) return;
  const left = first * leafSize;
  const right = min<i32>(last * leafSize, count);
  const k = middle * leafSize;
  selectRecord(base, left, right - 1, k, widestKey(base, left, right));
}
