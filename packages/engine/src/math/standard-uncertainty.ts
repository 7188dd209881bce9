/** Shape of what is known of a value between two limits. */
export type LimitedShape = 'rectangular' | 'triangular' | 'arcsine';

const DIVISORS: Readonly<Record<LimitedShape, number>> = {
  rectangular: Math.sqrt(3),
  triangular: Math.sqrt(6),
  arcsine: Math.sqrt(2),
};

/** Standard uncertainty of a value known to lie within +- `halfWidth` (type B, JCGM 100, 4.3.7 and 4.3.9). */
export function standardUncertaintyOfLimits(halfWidth: number, shape: LimitedShape = 'rectangular'): number {
  return halfWidth / DIVISORS[shape];
}

/** A part of a combined standard uncertainty: its own contribution |c u| and its degrees of freedom. */
export interface UncertaintyPart {
  readonly contribution: number;
  /** Infinity where the uncertainty is known exactly. */
  readonly degreesOfFreedom: number;
}

/** Effective degrees of freedom of a sum of independent parts (Welch-Satterthwaite, JCGM 100, G.4.1). */
export function effectiveDegreesOfFreedom(parts: readonly UncertaintyPart[]): number {
  let variance = 0;
  let share = 0;
  for (const { contribution, degreesOfFreedom } of parts) {
    if (!(degreesOfFreedom > 0)) throw new RangeError('A part has at least some degrees of freedom.');
    const square = contribution * contribution;
    variance += square;
    share += (square * square) / degreesOfFreedom;
  }
  return share > 0 ? (variance * variance) / share : Number.POSITIVE_INFINITY;
}
