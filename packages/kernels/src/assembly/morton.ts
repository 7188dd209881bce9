import { isFinite3 } from './layout';

/**
 * Order in which the points lie along a Z curve (Morton 1966) through their box: 10 bits an axis.
 *
 * @param a, b room for 8 bytes a point each
 * @param histogram room for 4096 bytes
 * @param out one index a point
 */
export function mortonOrder(points: usize, count: i32, a: usize, b: usize, histogram: usize, out: usize): void {
  let low = f32x4.splat(Infinity);
  let high = f32x4.splat(-Infinity);
  for (let i = 0; i < count; i++) {
    const at = points + <usize>i * 12;
    const x = load<f32>(at);
    const y = load<f32>(at, 4);
    const z = load<f32>(at, 8);
    if (!isFinite3(x, y, z)) continue;
    const v = f32x4(x, y, z, 0);
    low = f32x4.pmin(low, v);
    high = f32x4.pmax(high, v);
  }
  const extent = f32x4.sub(high, low);
  const widest = max<f32>(
    max<f32>(f32x4.extract_lane(extent, 0), f32x4.extract_lane(extent, 1)),
    f32x4.extract_lane(extent, 2),
  );
  const scale: f32 = widest > 0 && widest < Infinity ? 1023 / widest : 0;
  const scales = f32x4.splat(scale < Infinity ? scale : 0);
  for (let i = 0; i < count; i++) {
    const at = points + <usize>i * 12;
    const x = load<f32>(at);
    const y = load<f32>(at, 4);
    const z = load<f32>(at, 8);
    let code: u32 = 0;
    if (isFinite3(x, y, z)) {
      const cell = i32x4.trunc_sat_f32x4_u(f32x4.mul(f32x4.sub(f32x4(x, y, z, 0), low), scales));
      code =
        spread(i32x4.extract_lane(cell, 0)) |
        (spread(i32x4.extract_lane(cell, 1)) << 1) |
        (spread(i32x4.extract_lane(cell, 2)) << 2);
    }
    store<u32>(a + ((<usize>i) << 3), code);
    store<u32>(a + ((<usize>i) << 3), i, 4);
  }
  sortDigit(a, b, count, histogram, 0);
  sortDigit(b, a, count, histogram, 10);
  sortDigit(a, b, count, histogram, 20);
  for (let i = 0; i < count; i++) store<u32>(out + ((<usize>i) << 2), load<u32>(b + ((<usize>i) << 3), 4));
}

// Ten bits, each followed by two zeros.
function spread(v: u32): u32 {
  v &= 1023;
  v = (v | (v << 16)) & 0x030000ff;
  v = (v | (v << 8)) & 0x0300f00f;
  v = (v | (v << 4)) & 0x030c30c3;
  return (v | (v << 2)) & 0x09249249;
}

function sortDigit(from: usize, to: usize, count: i32, histogram: usize, shift: u32): void {
  memory.fill(histogram, 0, 4096);
  for (let i = 0; i < count; i++) {
    const digit = histogram + <usize>(((load<u32>(from + ((<usize>i) << 3)) >> shift) & 1023) << 2);
    store<u32>(digit, load<u32>(digit) + 1);
  }
  let sum: u32 = 0;
  for (let at = histogram; at < histogram + 4096; at += 4) {
    const n = load<u32>(at);
    store<u32>(at, sum);
    sum += n;
  }
  for (let i = 0; i < count; i++) {
    const entry = load<u64>(from + ((<usize>i) << 3));
    const digit = histogram + <usize>(((<u32>entry >> shift) & 1023) << 2);
    const place = load<u32>(digit);
    store<u32>(digit, place + 1);
    store<u64>(to + ((<usize>place) << 3), entry);
  }
}

/** Copies the points named by `order` to `out`. */
export function gatherPoints(points: usize, order: usize, count: i32, out: usize): void {
  for (let i = 0; i < count; i++) {
    const from = points + <usize>load<u32>(order + ((<usize>i) << 2)) * 12;
    const to = out + <usize>i * 12;
    store<u64>(to, load<u64>(from));
    store<u32>(to, load<u32>(from, 8), 8);
  }
}
