import type { Vec3 } from '../math/index.ts';

/** Lattice steps along the longest side of the box. */
const STEPS = 16;

/**
 * Stands in for a costly function that varies slowly over a box: evaluates it on a lattice, where asked, and interpolates
 * between.
 *
 * Method   trilinear interpolation. The uncertainty of a placed point is the root of a quadratic form of its coordinates, so
 *          over a sixteenth of a scan it is straight to well under a hundredth of itself.
 */
export function makeCoarseField(evaluate: (point: Vec3) => number, low: Vec3, high: Vec3): (point: Vec3) => number {
  const longest = Math.max(high[0] - low[0], high[1] - low[1], high[2] - low[2]);
  if (!(longest > 0)) return evaluate;
  const step = longest / STEPS;
  const known = new Map<number, number>();
  const at = (i: number, j: number, k: number): number => {
    const key = (k * 64 + j) * 64 + i;
    let value = known.get(key);
    if (value === undefined) {
      value = evaluate([low[0] + step * i, low[1] + step * j, low[2] + step * k]);
      known.set(key, value);
    }
    return value;
  };
  return ([x, y, z]) => {
    const u = (x - low[0]) / step;
    const v = (y - low[1]) / step;
    const w = (z - low[2]) / step;
    const i = Math.floor(u);
    const j = Math.floor(v);
    const k = Math.floor(w);
    const a = u - i;
    const b = v - j;
    const c = w - k;
    const row = (n: number, m: number): number => at(i, n, m) * (1 - a) + at(i + 1, n, m) * a;
    return (row(j, k) * (1 - b) + row(j + 1, k) * b) * (1 - c) + (row(j, k + 1) * (1 - b) + row(j + 1, k + 1) * b) * c;
  };
}
