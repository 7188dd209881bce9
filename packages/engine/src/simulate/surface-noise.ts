import type { RunContext } from '../base/index.ts';
import { type CorrelatedNoise, makeCorrelatedField } from './correlated-field.ts';

/** Random measuring deviations of a point along its measuring direction, mm: a white part and correlated parts. */
export interface SurfaceNoise {
  readonly white: number;
  readonly correlated: readonly CorrelatedNoise[];
}

/** Standard deviation of all parts together, mm. */
export function totalNoise(noise: SurfaceNoise): number {
  return Math.hypot(noise.white, ...noise.correlated.map((part) => part.sigma));
}

/**
 * Draws one deviation for each place.
 *
 * @param positions true places, xyz interleaved, mm: the correlated parts depend on them
 * @param name stream name; the same name and seed give the same deviations
 * @returns one number for each place, mm
 */
export function drawSurfaceNoise(
  noise: SurfaceNoise,
  positions: Float64Array,
  name: string,
  context: RunContext,
): Float64Array {
  const count = positions.length / 3;
  const deviations = new Float64Array(count);
  const random = context.random(`${name}/white`);
  if (noise.white > 0) for (let i = 0; i < count; i++) deviations[i] = noise.white * random.normal();
  noise.correlated.forEach((part, k) => {
    makeCorrelatedField(part, context.random(`${name}/field-${k}`)).addTo(positions, deviations);
  });
  return deviations;
}
