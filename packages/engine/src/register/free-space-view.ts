import type { Viewpoint } from '../model/index.ts';
import type { CoarseSurface } from './coarse-surface.ts';

/** Share of the samples that must face the instrument before a viewing direction is believed. */
const FACING_SHARE = 0.97;

/**
 * Finds one direction from which nearly all of a scan is seen from the front, when there is one.
 *
 * Method   starts at the mean normal and turns towards the samples that face away, as a perceptron does, so that the least
 *          cosine over the samples grows; kept only when 97 % of the samples face it.
 * Assumes  normals oriented to the outside.
 *
 * @returns null when the scan cannot have been captured from one direction
 */
export function inferViewDirection(surface: CoarseSurface): Viewpoint | null {
  const { normals, count } = surface;
  if (count < 10) return null;
  let d = [0, 0, 0];
  for (let i = 0; i < count; i++) for (let k = 0; k < 3; k++) d[k] += normals[3 * i + k];
  const unit = (v: number[]): number[] | null => {
    const length = Math.hypot(v[0], v[1], v[2]);
    return length > 1e-6 * count ? v.map((c) => c / length) : null;
  };
  let current = unit(d);
  if (current === null) return null;
  let best: number[] = current;
  let bestFacing = -1;
  for (let round = 0; round < 30; round++) {
    let facing = 0;
    const turn = [0, 0, 0];
    let away = 0;
    for (let i = 0; i < count; i++) {
      const c = normals[3 * i] * current[0] + normals[3 * i + 1] * current[1] + normals[3 * i + 2] * current[2];
      if (c > 0) facing++;
      if (c < 0.1) {
        away++;
        for (let k = 0; k < 3; k++) turn[k] += normals[3 * i + k];
      }
    }
    if (facing > bestFacing) {
      bestFacing = facing;
      best = current;
    }
    if (away === 0) break;
    d = [0, 1, 2].map((k) => (current as number[])[k] + (0.3 * turn[k]) / away);
    const length = Math.hypot(d[0], d[1], d[2]);
    if (!(length > 0.1)) break;
    current = d.map((c) => c / length);
  }
  if (bestFacing < FACING_SHARE * count) return null;
  return { kind: 'direction', direction: [best[0], best[1], best[2]] };
}
