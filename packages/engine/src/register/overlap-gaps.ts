import type { RunContext } from '../base/index.ts';
import type { Pose } from '../math/index.ts';
import { distanceToSurface, fitLocalSurfaces } from './local-surface.ts';
import type { PreparedScan } from './prepared-scan.ts';
import { motionOf, movePoints, toLocalPose, turnDirections } from './rigid-motion.ts';

/** Signed distances of the points of one scan from the surface of another, for a picture. */
export interface OverlapGaps {
  /** Points of the prepared scan `a`. */
  readonly points: Uint32Array;
  /** mm, positive where the point lies outside `b`; NaN where `b` has no surface there. */
  readonly gaps: Float32Array;
}

/** Options of `overlapGaps`. */
export interface OverlapGapsOptions {
  /** Every how many points of `a` in canonical order; 1 takes all. */
  readonly step: number;
  /** Points farther from `b` get no distance, mm; 0: three times the larger spacing. */
  readonly maxDistance: number;
  readonly neighbourCount: number;
}

/** All points, as far as the matches of the alignment reach. */
export const OVERLAP_GAPS_DEFAULTS: OverlapGapsOptions = { step: 1, maxDistance: 0, neighbourCount: 0 };

const CHUNK = 8192;

/** Signed distance of each point of `a` from the smooth surface of `b` (see `fitLocalSurfaces`) at a given pose. */
export async function overlapGaps(
  a: PreparedScan,
  b: PreparedScan,
  bFromA: Pose,
  options: Partial<OverlapGapsOptions>,
  context: RunContext,
): Promise<OverlapGaps> {
  const settings = { ...OVERLAP_GAPS_DEFAULTS, ...options };
  const gate = settings.maxDistance > 0 ? settings.maxDistance : 3 * Math.max(a.spacing, b.spacing);
  const step = Math.max(1, Math.floor(settings.step));
  const count = Math.ceil(a.positions.length / 3 / step);
  const points = Uint32Array.from({ length: count }, (_, i) => i * step);
  const gaps = new Float32Array(count).fill(Number.NaN);
  const motion = motionOf(toLocalPose(bFromA, b, a));
  const out = new Float64Array(4);
  for (let from = 0; from < count; from += CHUNK) {
    const to = Math.min(count, from + CHUNK);
    const places = new Float64Array(3 * (to - from));
    const normals = new Float64Array(3 * (to - from));
    for (let i = from; i < to; i++) {
      places.set(a.positions.subarray(3 * points[i], 3 * points[i] + 3), 3 * (i - from));
      normals.set(a.normals.subarray(3 * points[i], 3 * points[i] + 3), 3 * (i - from));
    }
    movePoints(motion, places, places);
    turnDirections(motion, normals, normals);
    const surfaces = fitLocalSurfaces(b, places, normals, a.oriented && b.oriented, settings.neighbourCount, gate);
    for (let i = from; i < to; i++) {
      const s = i - from;
      if (surfaces.usable[s] === 0) continue;
      distanceToSurface(surfaces, s, places[3 * s], places[3 * s + 1], places[3 * s + 2], out);
      gaps[i] = out[0];
    }
    await context.checkpoint(to / count);
  }
  return { points, gaps };
}
