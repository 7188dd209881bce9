import { studentQuantile, studentTail } from './student-distribution.ts';

/**
 * Two-sided critical value of a residual that is standardised by the variance factor of its own adjustment [Pope76].
 *
 * @param level probability that a good residual exceeds it in absolute value, between 0 and 1
 * @param redundancy of the adjustment, at least 2; a tau value never exceeds its square root
 */
export function tauQuantile(level: number, redundancy: number): number {
  if (!(redundancy > 1)) throw new RangeError('A tau test needs a redundancy larger than one.');
  if (redundancy === Number.POSITIVE_INFINITY) return studentQuantile(level / 2, redundancy);
  const t = studentQuantile(level / 2, redundancy - 1);
  return (Math.sqrt(redundancy) * t) / Math.sqrt(redundancy - 1 + t * t);
}

/** Probability that a good residual exceeds tau in absolute value. */
export function tauTail(tau: number, redundancy: number): number {
  if (!(redundancy > 1)) throw new RangeError('A tau test needs a redundancy larger than one.');
  const square = tau * tau;
  if (square >= redundancy) return 0;
  return 2 * studentTail(Math.abs(tau) * Math.sqrt((redundancy - 1) / (redundancy - square)), redundancy - 1);
}
