import { type LengthUnit, MM_PER_UNIT } from '../model/index.ts';

/**
 * Names the mistake of units that explains a factor of size, or null.
 *
 * @param factor size in the second frame divided by size in the first
 */
export function likelyUnitFactor(factor: number): string | null {
  const units: readonly LengthUnit[] = ['mm', 'cm', 'm', 'in', 'ft', 'um'];
  // Millimetres first: what has no unit is read as those.
  for (const taken of units) {
    for (const meant of units) {
      const expected = MM_PER_UNIT[taken] / MM_PER_UNIT[meant];
      // Three per cent: rough picks, and the ratios of common units lie further apart than that.
      if (meant !== taken && Math.abs(Math.log(factor / expected)) < 0.03) {
        return `as if the second were in ${meant} and read as ${taken}, or the first the other way round`;
      }
    }
  }
  return null;
}
