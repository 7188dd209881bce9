import { ENTRY_COUNT, HEADER_SIZE, LEAF_COUNT, LEVEL_COUNT, LEVELS, levelAddress, NODE_SIZE, POINT_LEAF, TRIANGLE_LEAF } from './layout';
import { orderRecords } from './select';

function leavesOf(count: u32, leafSize: u32): u32 {
  return (count + leafSize - 1) / leafSize;
}

function levelsOf(leafCount: u32): u32 {
  let levels: u32 = 1;
  for (let n: u32 = (leafCount + 3) >> 2; n > 1; n = (n + 3) >> 2) levels++;
  return levels;
}

/** Bytes of a tree's block. */
export function treeSize(count: u32, leafSize: u32, leafBytes: u32): usize {
  const leafCount = leavesOf(count, leafSize);
  let size: usize = HEADER_SIZE + <usize>leafCount * <usize>leafBytes;
  let n = leafCount;
  do {
    n = (n + 3) >> 2;
    size += <usize>n * NODE_SIZE;
  } while (n > 1);
  return size;
}

function writeHeader(tree: usize, count: u32, leafSize: u32, leafBytes: u32): void {
  const leafCount = leavesOf(count, leafSize);
  const levels = levelsOf(leafCount);
  store<u32>(tree + LEAF_COUNT, leafCount);
  store<u32>(tree + LEVEL_COUNT, levels);
  store<u32>(tree + ENTRY_COUNT, count);
  let at = tree + HEADER_SIZE;
  store<u32>(tree + LEVELS, <u32>at);
  at += <usize>leafCount * <usize>leafBytes;
  let n = leafCount;
  for (let level: u32 = 1; level <= levels; level++) {
    n = (n + 3) >> 2;
    store<u32>(tree + LEVELS + ((<usize>level) << 2), <u32>at);
    at += <usize>n * NODE_SIZE;
  }
}

/** Copies the finite points as records x y z id to the leaves' place; returns how many there are. */
export function fillPointRecords(positions: usize, count: i32, tree: usize): i32 {
  let at = tree + HEADER_SIZE;
  let kept = 0;
  for (let i = 0; i < count; i++) {
    const p = positions + <usize>i * 12;
    const x = load<f32>(p);
    const y = load<f32>(p, 4);
    const z = load<f32>(p, 8);
    if (x - x == 0 && y - y == 0 && z - z == 0) {
      store<f32>(at, x);
      store<f32>(at, y, 4);
      store<f32>(at, z, 8);
      store<i32>(at, i, 12);
      at += 16;
      kept++;
    }
  }
  return kept;
}

/** Orders the records and turns them into leaves, in place, then builds the boxes above. */
export function buildPointTree(tree: usize, count: i32): void {
  writeHeader(tree, count, 8, <u32>POINT_LEAF);
  const leafCount = load<u32>(tree + LEAF_COUNT);
  const base = tree + HEADER_SIZE;
  orderRecords(base, count, 8, 0, leafCount, load<u32>(tree + LEVEL_COUNT));
  const none = f32x4.replace_lane(f32x4.splat(NaN), 3, reinterpret<f32>(-1));
  for (let i = <u32>count; i < leafCount * 8; i++) v128.store(base + ((<usize>i) << 4), none);
  for (let leaf: u32 = 0; leaf < leafCount; leaf++) {
    const at = base + <usize>leaf * POINT_LEAF;
    transpose(at);
    pointBox(at);
    storeBox(levelAddress(tree, 1), leaf);
  }
  buildUpperLevels(tree);
}

// Eight records in, x[8] y[8] z[8] id[8] out.
function transpose(at: usize): void {
  const a0 = v128.load(at, 0);
  const a1 = v128.load(at, 16);
  const a2 = v128.load(at, 32);
  const a3 = v128.load(at, 48);
  const b0 = v128.load(at, 64);
  const b1 = v128.load(at, 80);
  const b2 = v128.load(at, 96);
  const b3 = v128.load(at, 112);
  const p0 = v128.shuffle<i32>(a0, a1, 0, 4, 1, 5);
  const p1 = v128.shuffle<i32>(a2, a3, 0, 4, 1, 5);
  const p2 = v128.shuffle<i32>(a0, a1, 2, 6, 3, 7);
  const p3 = v128.shuffle<i32>(a2, a3, 2, 6, 3, 7);
  const q0 = v128.shuffle<i32>(b0, b1, 0, 4, 1, 5);
  const q1 = v128.shuffle<i32>(b2, b3, 0, 4, 1, 5);
  const q2 = v128.shuffle<i32>(b0, b1, 2, 6, 3, 7);
  const q3 = v128.shuffle<i32>(b2, b3, 2, 6, 3, 7);
  v128.store(at, v128.shuffle<i32>(p0, p1, 0, 1, 4, 5), 0);
  v128.store(at, v128.shuffle<i32>(q0, q1, 0, 1, 4, 5), 16);
  v128.store(at, v128.shuffle<i32>(p0, p1, 2, 3, 6, 7), 32);
  v128.store(at, v128.shuffle<i32>(q0, q1, 2, 3, 6, 7), 48);
  v128.store(at, v128.shuffle<i32>(p2, p3, 0, 1, 4, 5), 64);
  v128.store(at, v128.shuffle<i32>(q2, q3, 0, 1, 4, 5), 80);
  v128.store(at, v128.shuffle<i32>(p2, p3, 2, 3, 6, 7), 96);
  v128.store(at, v128.shuffle<i32>(q2, q3, 2, 3, 6, 7), 112);
}

// The box that was last computed: low and high corners and the lowest id.
let xLow: f32 = 0;
let yLow: f32 = 0;
let zLow: f32 = 0;
let xHigh: f32 = 0;
let yHigh: f32 = 0;
let zHigh: f32 = 0;
let lowestId: u32 = 0;

function least(a: v128): f32 {
  const b = f32x4.pmin(a, v128.shuffle<i32>(a, a, 2, 3, 0, 1));
  return f32x4.extract_lane(f32x4.pmin(b, v128.shuffle<i32>(b, b, 1, 0, 3, 2)), 0);
}

function largest(a: v128): f32 {
  const b = f32x4.pmax(a, v128.shuffle<i32>(a, a, 2, 3, 0, 1));
  return f32x4.extract_lane(f32x4.pmax(b, v128.shuffle<i32>(b, b, 1, 0, 3, 2)), 0);
}

// Ids are compared without sign, so that -1 of an empty lane is the highest.
function leastId(a: v128): u32 {
  const b = i32x4.min_u(a, v128.shuffle<i32>(a, a, 2, 3, 0, 1));
  return i32x4.extract_lane(i32x4.min_u(b, v128.shuffle<i32>(b, b, 1, 0, 3, 2)), 0);
}

// pmin(a, b) keeps a where b is NaN: empty lanes do not widen the box.
function pointBox(at: usize): void {
  const low = f32x4.splat(Infinity);
  const high = f32x4.splat(-Infinity);
  xLow = least(f32x4.pmin(f32x4.pmin(low, v128.load(at, 0)), v128.load(at, 16)));
  yLow = least(f32x4.pmin(f32x4.pmin(low, v128.load(at, 32)), v128.load(at, 48)));
  zLow = least(f32x4.pmin(f32x4.pmin(low, v128.load(at, 64)), v128.load(at, 80)));
  xHigh = largest(f32x4.pmax(f32x4.pmax(high, v128.load(at, 0)), v128.load(at, 16)));
  yHigh = largest(f32x4.pmax(f32x4.pmax(high, v128.load(at, 32)), v128.load(at, 48)));
  zHigh = largest(f32x4.pmax(f32x4.pmax(high, v128.load(at, 64)), v128.load(at, 80)));
  lowestId = leastId(i32x4.min_u(v128.load(at, 96), v128.load(at, 112)));
}

function triangleBox(at: usize): void {
  const low = f32x4.splat(Infinity);
  const high = f32x4.splat(-Infinity);
  xLow = least(f32x4.pmin(f32x4.pmin(f32x4.pmin(low, v128.load(at, 0)), v128.load(at, 48)), v128.load(at, 96)));
  yLow = least(f32x4.pmin(f32x4.pmin(f32x4.pmin(low, v128.load(at, 16)), v128.load(at, 64)), v128.load(at, 112)));
  zLow = least(f32x4.pmin(f32x4.pmin(f32x4.pmin(low, v128.load(at, 32)), v128.load(at, 80)), v128.load(at, 128)));
  xHigh = largest(f32x4.pmax(f32x4.pmax(f32x4.pmax(high, v128.load(at, 0)), v128.load(at, 48)), v128.load(at, 96)));
  yHigh = largest(f32x4.pmax(f32x4.pmax(f32x4.pmax(high, v128.load(at, 16)), v128.load(at, 64)), v128.load(at, 112)));
  zHigh = largest(f32x4.pmax(f32x4.pmax(f32x4.pmax(high, v128.load(at, 32)), v128.load(at, 80)), v128.load(at, 128)));
  lowestId = leastId(v128.load(at, 144));
}

function nodeBox(at: usize): void {
  xLow = least(v128.load(at, 0));
  yLow = least(v128.load(at, 16));
  zLow = least(v128.load(at, 32));
  xHigh = largest(v128.load(at, 48));
  yHigh = largest(v128.load(at, 64));
  zHigh = largest(v128.load(at, 80));
  lowestId = leastId(v128.load(at, 96));
}

// Stores the current box as child `index % 4` of the node above.
function storeBox(nodes: usize, index: u32): void {
  const node = nodes + <usize>(index >> 2) * NODE_SIZE;
  if ((index & 3) == 0) {
    for (let o: usize = 0; o < 48; o += 16) v128.store(node + o, f32x4.splat(Infinity));
    for (let o: usize = 48; o < 96; o += 16) v128.store(node + o, f32x4.splat(-Infinity));
    v128.store(node + 96, i32x4.splat(-1));
  }
  const lane = node + ((<usize>(index & 3)) << 2);
  store<f32>(lane, xLow, 0);
  store<f32>(lane, yLow, 16);
  store<f32>(lane, zLow, 32);
  store<f32>(lane, xHigh, 48);
  store<f32>(lane, yHigh, 64);
  store<f32>(lane, zHigh, 80);
  store<u32>(lane, lowestId, 96);
}

function buildUpperLevels(tree: usize): void {
  const levels = load<u32>(tree + LEVEL_COUNT);
  let n = (load<u32>(tree + LEAF_COUNT) + 3) >> 2;
  for (let level: u32 = 1; level < levels; level++) {
    const nodes = levelAddress(tree, level);
    const above = levelAddress(tree, level + 1);
    for (let i: u32 = 0; i < n; i++) {
      nodeBox(nodes + <usize>i * NODE_SIZE);
      storeBox(above, i);
    }
    n = (n + 3) >> 2;
  }
}

/** Writes a record (box centre, id) for every triangle with finite corners; returns how many there are. */
export function fillTriangleRecords(positions: usize, triangles: usize, count: i32, records: usize): i32 {
  let at = records;
  let kept = 0;
  for (let t = 0; t < count; t++) {
    const corner = triangles + <usize>t * 12;
    const a = positions + <usize>load<u32>(corner) * 12;
    const b = positions + <usize>load<u32>(corner, 4) * 12;
    const c = positions + <usize>load<u32>(corner, 8) * 12;
    let sum: f32 = 0;
    for (let o: usize = 0; o < 12; o += 4) {
      const p = load<f32>(a + o);
      const q = load<f32>(b + o);
      const r = load<f32>(c + o);
      sum += (p - p) + (q - q) + (r - r);
      store<f32>(at + o, min<f32>(min<f32>(p, q), r) * 0.5 + max<f32>(max<f32>(p, q), r) * 0.5);
    }
    if (sum == 0) {
      store<i32>(at, t, 12);
      at += 16;
      kept++;
    }
  }
  return kept;
}

/** Builds a tree over the triangles whose records are given. */
export function buildTriangleTree(tree: usize, count: i32, records: usize, positions: usize, triangles: usize): void {
  writeHeader(tree, count, 4, <u32>TRIANGLE_LEAF);
  const leafCount = load<u32>(tree + LEAF_COUNT);
  orderRecords(records, count, 4, 0, leafCount, load<u32>(tree + LEVEL_COUNT));
  const base = tree + HEADER_SIZE;
  for (let leaf: u32 = 0; leaf < leafCount; leaf++) {
    const at = base + <usize>leaf * TRIANGLE_LEAF;
    for (let lane: u32 = 0; lane < 4; lane++) {
      const i = leaf * 4 + lane;
      const to = at + ((<usize>lane) << 2);
      if (i < <u32>count) {
        const t = load<u32>(records + ((<usize>i) << 4), 12);
        for (let corner: u32 = 0; corner < 3; corner++) {
          const from = positions + <usize>load<u32>(triangles + <usize>t * 12 + ((<usize>corner) << 2)) * 12;
          const out = to + <usize>corner * 48;
          store<f32>(out, load<f32>(from, 0), 0);
          store<f32>(out, load<f32>(from, 4), 16);
          store<f32>(out, load<f32>(from, 8), 32);
        }
        store<u32>(to, t, 144);
      } else {
        for (let o: usize = 0; o < 144; o += 16) store<f32>(to + o, NaN);
        store<i32>(to, -1, 144);
      }
    }
    triangleBox(at);
    storeBox(levelAddress(tree, 1), leaf);
  }
  buildUpperLevels(tree);
}
