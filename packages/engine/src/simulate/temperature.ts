import { REFERENCE_TEMPERATURE } from '../model/index.ts';

/**
 * Factor by which an object is longer than at 20 degrees Celsius.
 *
 * @param temperature of the object, degrees Celsius
 * @param expansion linear coefficient, 1/K; aluminium about 23e-6, steel about 11.5e-6
 */
export function thermalScale(temperature: number, expansion: number): number {
  return 1 + expansion * (temperature - REFERENCE_TEMPERATURE);
}

/** Coordinates of a free object at another temperature: scaled about a point that stays, xyz interleaved, mm. */
export function scaleCoordinates(positions: Float64Array, factor: number, fixed: readonly number[]): Float64Array {
  return positions.map((x, i) => fixed[i % 3] + factor * (x - fixed[i % 3]));
}
