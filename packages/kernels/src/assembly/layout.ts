// Where things lie in memory. A tree is one block: header, leaves, then the levels of nodes.
//
// header   u32: leaf count, level count, entry count, leaf stride; at 32: addresses of level 0 (leaves), 1, 2, ...
// point leaf      8 points: x[8] y[8] z[8] id[8]; lanes without a point hold NaN and id -1
// triangle leaf   4 triangles: ax[4] ay[4] az[4] bx.. by.. bz.. cx.. cy.. cz.. id[4]
// node     boxes of its 4 children and their lowest ids: xLow[4] yLow[4] zLow[4] xHigh[4] yHigh[4] zHigh[4] id[4]
//
// Children of node i on level l are 4 i .. 4 i + 3 on level l - 1: no pointers. The top level has one node.

export const LEAF_COUNT: usize = 0;
export const LEVEL_COUNT: usize = 4;
export const ENTRY_COUNT: usize = 8;
export const LEVELS: usize = 32;
export const HEADER_SIZE: usize = 256;
export const NODE_SIZE: usize = 112;
export const POINT_LEAF: usize = 128;
export const TRIANGLE_LEAF: usize = 160;

// A stack entry is a squared distance (f32) and a place: level << 27 | index.
export const LEVEL_SHIFT: u32 = 27;
export const INDEX_MASK: u32 = (1 << 27) - 1;

export const F32_LARGEST: f32 = f32.MAX_VALUE;

// Scratch of one caller: left-packing table (16 x 16 bytes), then the traversal stack, then the
// last eight searches, then the candidates.
export const PACK_TABLE: usize = 0;
export const STACK: usize = 256;
export const STACK_SIZE: usize = 8 * 128;
export const RECENT: usize = STACK + STACK_SIZE;
export const CANDIDATES: usize = RECENT + 128;

// @ts-ignore: decorator
@inline
export function levelAddress(tree: usize, level: u32): usize {
  return <usize>load<u32>(tree + LEVELS + ((<usize>level) << 2));
}

// @ts-ignore: decorator
@inline
export function isFinite3(x: f32, y: f32, z: f32): bool {
  return x - x == 0 && y - y == 0 && z - z == 0;
}

/** Fills the table that moves the lanes named by a 4-bit mask to the front (for `i8x16.swizzle`). */
export function prepareScratch(scratch: usize): void {
  for (let mask: u32 = 0; mask < 16; mask++) {
    let at = scratch + PACK_TABLE + ((<usize>mask) << 4);
    let to: u32 = 0;
    for (let lane: u32 = 0; lane < 4; lane++) {
      if ((mask >> lane) & 1) {
        for (let b: u32 = 0; b < 4; b++) store<u8>(at + <usize>(to * 4 + b), <u8>(lane * 4 + b));
        to++;
      }
    }
    for (let b: u32 = to * 4; b < 16; b++) store<u8>(at + <usize>b, 255);
  }
}
