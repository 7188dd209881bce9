import type { Vec3 } from '../math/index.ts';

/** An axis-parallel box. */
export interface PointBounds {
  readonly low: Vec3;
  readonly high: Vec3;
}

/** Smallest box around the points with finite coordinates, or null where there is none. */
export function boundsOf(positions: Float32Array | Float64Array): PointBounds | null {
  const low = [Infinity, Infinity, Infinity];
  const high = [-Infinity, -Infinity, -Infinity];
  for (let i = 0; i + 2 < positions.length; i += 3) {
    if (!Number.isFinite(positions[i] + positions[i + 1] + positions[i + 2])) continue;
    for (let axis = 0; axis < 3; axis++) {
      const value = positions[i + axis];
      if (value < low[axis]) low[axis] = value;
      if (value > high[axis]) high[axis] = value;
    }
  }
  if (low[0] > high[0]) return null;
  return { low: [low[0], low[1], low[2]], high: [high[0], high[1], high[2]] };
}
