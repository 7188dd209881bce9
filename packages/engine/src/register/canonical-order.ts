import type { Vec3 } from '../math/index.ts';

/** Points in an order that depends only on where they are. */
export interface CanonicalPoints {
  readonly origin: Vec3;
  readonly positions: Float32Array;
  /** Unit-free sums of the given normals of merged points, or null. Not normalised. */
  readonly normals: Float32Array | null;
  /** Place in `positions` of each input point; -1 where it was dropped as not finite. */
  readonly placeOfInput: Int32Array;
  /** Input points that were not finite. */
  readonly droppedCount: number;
}

function finitePoints(positions: Float32Array): Uint32Array {
  const n = Math.floor(positions.length / 3);
  const kept = new Uint32Array(n);
  let count = 0;
  for (let i = 0; i < n; i++) {
    // A sum with anything that is no number is no number; infinities cancel only to NaN.
    if (Number.isFinite(positions[3 * i] + positions[3 * i + 1] + positions[3 * i + 2])) kept[count++] = i;
  }
  return kept.subarray(0, count);
}

function spreadBits(v: number): number {
  let x = v & 0x3ff;
  x = (x | (x << 16)) & 0x030000ff;
  x = (x | (x << 8)) & 0x0300f00f;
  x = (x | (x << 4)) & 0x030c30c3;
  return (x | (x << 2)) & 0x09249249;
}

function sortByCode(codes: Uint32Array, items: Uint32Array): { codes: Uint32Array; items: Uint32Array } {
  let fromCodes: Uint32Array = codes;
  let fromItems: Uint32Array = items;
  let toCodes: Uint32Array = new Uint32Array(codes.length);
  let toItems: Uint32Array = new Uint32Array(codes.length);
  for (const shift of [0, 15]) {
    const start = new Uint32Array(32769);
    for (const code of fromCodes) start[((code >>> shift) & 32767) + 1]++;
    for (let i = 0; i < 32768; i++) start[i + 1] += start[i];
    for (let i = 0; i < fromCodes.length; i++) {
      const at = start[(fromCodes[i] >>> shift) & 32767]++;
      toCodes[at] = fromCodes[i];
      toItems[at] = fromItems[i];
    }
    [fromCodes, toCodes] = [toCodes, fromCodes];
    [fromItems, toItems] = [toItems, fromItems];
  }
  return { codes: fromCodes, items: fromItems };
}

/** Box of the chosen points: minimum, maximum. */
function boxOf(positions: Float32Array, items: Uint32Array): { min: number[]; max: number[] } {
  const min = [Infinity, Infinity, Infinity];
  const max = [-Infinity, -Infinity, -Infinity];
  for (const i of items) {
    for (let a = 0; a < 3; a++) {
      const value = positions[3 * i + a];
      if (value < min[a]) min[a] = value;
      if (value > max[a]) max[a] = value;
    }
  }
  return { min, max };
}

/**
 * Brings points into canonical order, drops what is not finite and merges exact duplicates.
 *
 * Method   Morton order in the points' box (cube of its longest edge, 10 bits an axis), ties by coordinates.
 *          An axis on which the points lie far from the origin is moved there first, by a value for which the
 *          subtraction is exact in float32 (Sterbenz 1974), so no digit is lost.
 *
 * @param origin mm
 * @param positions xyz, mm, relative to origin
 * @param normals xyz or null; those of merged points are added up
 */
export function orderCanonically(origin: Vec3, positions: Float32Array, normals: Float32Array | null): CanonicalPoints {
  const inputCount = Math.floor(positions.length / 3);
  const finite = finitePoints(positions);
  const { min, max } = boxOf(positions, finite);
  const extent = Math.max(max[0] - min[0], max[1] - min[1], max[2] - min[2], 0);
  const codes = new Uint32Array(finite.length);
  const factor = extent > 0 ? 1024 / extent : 0;
  for (let i = 0; i < finite.length; i++) {
    const at = 3 * finite[i];
    const x = Math.min(1023, Math.floor((positions[at] - min[0]) * factor));
    const y = Math.min(1023, Math.floor((positions[at + 1] - min[1]) * factor));
    const z = Math.min(1023, Math.floor((positions[at + 2] - min[2]) * factor));
    codes[i] = spreadBits(x) | (spreadBits(y) << 1) | (spreadBits(z) << 2);
  }
  const sorted = sortByCode(codes, finite);
  const compare = (a: number, b: number): number => {
    for (let axis = 0; axis < 3; axis++) {
      const d = positions[3 * a + axis] - positions[3 * b + axis];
      if (d !== 0) return d;
    }
    if (normals !== null) {
      for (let axis = 0; axis < 3; axis++) {
        const d = normals[3 * a + axis] - normals[3 * b + axis];
        if (d !== 0 && !Number.isNaN(d)) return d;
      }
    }
    return 0;
  };
  for (let i = 0; i < finite.length; ) {
    let end = i + 1;
    while (end < finite.length && sorted.codes[end] === sorted.codes[i]) end++;
    if (end > i + 1) sorted.items.subarray(i, end).sort(compare);
    i = end;
  }
  const shift = [0, 0, 0];
  for (let a = 0; a < 3; a++) {
    const centre = Math.fround((min[a] + max[a]) / 2);
    if (finite.length > 0 && Math.abs(centre) > 4 * (max[a] - min[a])) shift[a] = centre;
  }
  const outPositions = new Float32Array(3 * finite.length);
  const outNormals = normals === null ? null : new Float32Array(3 * finite.length);
  const placeOfInput = new Int32Array(inputCount).fill(-1);
  let count = 0;
  for (let i = 0; i < finite.length; i++) {
    const item = sorted.items[i];
    const x = positions[3 * item] - shift[0] + 0;
    const y = positions[3 * item + 1] - shift[1] + 0;
    const z = positions[3 * item + 2] - shift[2] + 0;
    const last = 3 * (count - 1);
    const isNew =
      count === 0 || outPositions[last] !== x || outPositions[last + 1] !== y || outPositions[last + 2] !== z;
    if (isNew) {
      outPositions[3 * count] = x;
      outPositions[3 * count + 1] = y;
      outPositions[3 * count + 2] = z;
      count++;
    }
    placeOfInput[item] = count - 1;
    if (normals !== null && outNormals !== null) {
      for (let a = 0; a < 3; a++) {
        const value = normals[3 * item + a];
        if (Number.isFinite(value)) outNormals[3 * (count - 1) + a] += value;
      }
    }
  }
  return {
    origin: [origin[0] + shift[0], origin[1] + shift[1], origin[2] + shift[2]],
    positions: outPositions.slice(0, 3 * count),
    normals: outNormals === null ? null : outNormals.slice(0, 3 * count),
    placeOfInput,
    droppedCount: inputCount - finite.length,
  };
}
