import type { ModelErrorTest } from './model-error-tests.ts';
import { isPartOf, type ModelError } from './model-errors.ts';

/** The error that explains the misfit best, with those that explain it about as well. */
export interface FirstSuspect {
  /** Index of the best among the errors. */
  readonly first: number;
  /** Indices of others that cannot be told from it. */
  readonly rivals: readonly number[];
  readonly statistic: number;
  readonly degreesOfFreedom: number;
  /** Corrected for the number of tests. */
  readonly probability: number;
}

/**
 * How much better the first has to explain the misfit than another, in twice the logarithm of the probability. When the other is
 * the true one, it is beaten by a margin c with a probability of at most the normal tail of sqrt(c), whatever the size of the error
 * and the likeness of the two: half a per cent for 6.6.
 */
const MARGIN = 6.6;

/** Probability that the smallest of so many probabilities is this small or smaller when nothing is wrong, at most (Bonferroni). */
export function correctedProbability(logProbability: number, testCount: number): number {
  return Math.min(1, Math.exp(logProbability + Math.log(Math.max(1, testCount))));
}

/** Tests that can say something. */
export function countTests(tests: readonly ModelErrorTest[]): number {
  return tests.reduce((sum, t) => sum + (t.degreesOfFreedom > 0 ? 1 : 0), 0);
}

/**
 * The first suspect among model errors: the one with the smallest probability, when that is below the level after correction for
 * the number of tests.
 */
export function findFirstSuspect(
  errors: readonly ModelError[],
  tests: readonly ModelErrorTest[],
  level: number,
  testCount: number,
): FirstSuspect | null {
  let first = -1;
  tests.forEach((t, i) => {
    if (t.degreesOfFreedom === 0) return;
    if (first < 0 || t.logProbability < (tests[first] as ModelErrorTest).logProbability) first = i;
  });
  if (first < 0) return null;
  const best = tests[first] as ModelErrorTest;
  const probability = correctedProbability(best.logProbability, testCount);
  if (!(probability < level)) return null;
  const own = errors[first] as ModelError;
  const rivals = tests.flatMap((t, i) => {
    if (i === first || t.degreesOfFreedom === 0) return [];
    if (2 * (t.logProbability - best.logProbability) > MARGIN) return [];
    const other = errors[i] as ModelError;
    return isPartOf(other, own) || isPartOf(own, other) ? [] : [i];
  });
  return { first, rivals, statistic: best.statistic, degreesOfFreedom: best.degreesOfFreedom, probability };
}
