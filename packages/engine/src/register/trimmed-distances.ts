/**
 * Finds the share of the nearest-neighbour distances that belongs to a common surface.
 *
 * Method   fractional root mean square distance (Phillips, Liu & Tomasi 2007): the share f that minimises
 *          rms(smallest f n distances) / f^lambda, over f from a tenth to one.
 *
 * @param squared squared distances, reordered; Infinity where nothing was found
 * @param count how many
 * @returns share 0 to 1, and the distance of the last point within it
 */
export function trimDistances(squared: Float64Array, count: number): { share: number; distance: number } {
  const exponent = 1.3;
  const sorted = squared.subarray(0, count).sort();
  let sum = 0;
  let best = Infinity;
  let share = 0;
  let distance = 0;
  for (let i = 0; i < count; i++) {
    if (!Number.isFinite(sorted[i])) break;
    sum += sorted[i];
    const f = (i + 1) / count;
    if (f < 0.1) continue;
    const value = sum / (i + 1) / f ** (2 * exponent);
    if (value < best) {
      best = value;
      share = f;
      distance = Math.sqrt(sorted[i]);
    }
  }
  return { share, distance };
}
