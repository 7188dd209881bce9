import { invert, transformPoint } from '../math/index.ts';
import type { OverlapCorrelation } from '../model/index.ts';
import { fieldCorrelation, sharedPoints } from './patch-kernel.ts';
import type { OverlapErrors, PatchedOverlap } from './patched-overlap.ts';
import { FORM, type WeighedPatches } from './weigh-overlap.ts';

/** One side of an overlap: the scan, its places in that scan's own frame. */
interface Side {
  readonly overlap: number;
  /** A scan's error lengthens the distance of A from B, or shortens it. */
  readonly sign: 1 | -1;
  readonly isA: boolean;
  readonly places: Float64Array;
  readonly low: readonly number[];
  readonly high: readonly number[];
}

/** Beyond this many correlation lengths nothing is shared. */
const REACH = 3;

/**
 * What overlaps with a common scan share of its errors.
 *
 * Method   covariance of their gradients, P_a^T C_ab P_b, with the errors of the common scan between the patches of one and
 *          those of the other; P = C^-1 J of each. Patches of different overlaps that are means over the same points share
 *          the independent part too.
 */
export function sharedScanCorrelations(
  overlaps: readonly PatchedOverlap[],
  errors: readonly OverlapErrors[],
  weighed: readonly WeighedPatches[],
): OverlapCorrelation[] {
  const sides = new Map<string, Side[]>();
  overlaps.forEach((overlap, index) => {
    for (const side of ['a', 'b'] as const) {
      const id = side === 'a' ? overlap.scanA.id : overlap.scanB.id;
      sides.set(id, [...(sides.get(id) ?? []), sideOf(overlap, index, side)]);
    }
  });
  const found = new Map<string, { a: number; b: number; sum: Float64Array }>();
  for (const list of sides.values()) {
    for (let i = 0; i < list.length; i++) {
      for (let j = i + 1; j < list.length; j++) {
        const [p, q] = [list[i], list[j]];
        const sum = gradientCovariance(p, q, overlaps, errors, weighed);
        if (sum === null) continue;
        const key = `${p.overlap} ${q.overlap}`;
        const known = found.get(key);
        if (known === undefined) found.set(key, { a: p.overlap, b: q.overlap, sum });
        else for (let e = 0; e < 36; e++) known.sum[e] += sum[e];
      }
    }
  }
  return [...found.values()].map(({ a, b, sum }) => ({
    tieA: overlaps[a].tie,
    tieB: overlaps[b].tie,
    gradientCovariance: Array.from(sum),
  }));
}

function sideOf(overlap: PatchedOverlap, index: number, side: 'a' | 'b'): Side {
  const { count, places: inB } = overlap.patches;
  const places = side === 'b' ? inB : new Float64Array(3 * count);
  if (side === 'a') {
    const aFromB = invert(overlap.bFromA0);
    for (let i = 0; i < count; i++)
      places.set(transformPoint(aFromB, [inB[3 * i], inB[3 * i + 1], inB[3 * i + 2]]), 3 * i);
  }
  const low = [Infinity, Infinity, Infinity];
  const high = [-Infinity, -Infinity, -Infinity];
  for (let e = 0; e < places.length; e++) {
    low[e % 3] = Math.min(low[e % 3], places[e]);
    high[e % 3] = Math.max(high[e % 3], places[e]);
  }
  return { overlap: index, sign: side === 'a' ? 1 : -1, isA: side === 'a', places, low, high };
}

function gradientCovariance(
  p: Side,
  q: Side,
  overlaps: readonly PatchedOverlap[],
  errors: readonly OverlapErrors[],
  weighed: readonly WeighedPatches[],
): Float64Array | null {
  const [patchesP, patchesQ] = [overlaps[p.overlap].patches, overlaps[q.overlap].patches];
  const gap = Math.hypot(...[0, 1, 2].map((a) => Math.max(0, p.low[a] - q.high[a], q.low[a] - p.high[a])));
  const [errorsP, errorsQ] = [errors[p.overlap], errors[q.overlap]];
  const shareOf = (side: Side, shareOfA: number): number => (side.isA ? shareOfA : 1 - shareOfA);
  // The scan's own errors are one: what the two overlaps say of them is averaged.
  const fields = errorsP.fields
    .map((field) => {
      const other = errorsQ.fields.find((one) => one.length === field.length);
      const own = shareOf(p, field.shareOfA) * field.variance;
      const its = other === undefined ? 0 : shareOf(q, other.shareOfA) * other.variance;
      return { length: field.length, variance: Math.sqrt(own * its) };
    })
    .filter(({ length, variance }) => variance > 0 && gap < REACH * length);
  const nugget = Math.sqrt(
    shareOf(p, errorsP.nuggetShareOfA) * errorsP.nugget * shareOf(q, errorsQ.nuggetShareOfA) * errorsQ.nugget,
  );
  const reaches = Math.max(...patchesP.spreads) + Math.max(...patchesQ.spreads);
  if (fields.length === 0 && gap > REACH * reaches) return null;
  const [pullP, pullQ] = [weighed[p.overlap].pull, weighed[q.overlap].pull];
  const out = new Float64Array(36);
  const row = new Float64Array(6);
  for (let i = 0; i < patchesP.count; i++) {
    row.fill(0);
    for (let j = 0; j < patchesQ.count; j++) {
      const dx = p.places[3 * i] - q.places[3 * j];
      const dy = p.places[3 * i + 1] - q.places[3 * j + 1];
      const dz = p.places[3 * i + 2] - q.places[3 * j + 2];
      const square = dx * dx + dy * dy + dz * dz;
      const [sp, sq] = [patchesP.spreads[i], patchesQ.spreads[j]];
      let c = nugget * sharedPoints(square, sp, sq, patchesP.weights[i], patchesQ.weights[j]);
      for (const { variance, length } of fields) c += variance * fieldCorrelation(square, sp, sq, length);
      if (c === 0) continue;
      for (let b = 0; b < 6; b++) row[b] += c * pullQ[FORM * j + b];
    }
    for (let a = 0; a < 6; a++)
      for (let b = 0; b < 6; b++) out[6 * a + b] += p.sign * q.sign * pullP[FORM * i + a] * row[b];
  }
  return out;
}
