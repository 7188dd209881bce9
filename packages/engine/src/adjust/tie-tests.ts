import { detectableNoncentrality, symmetricEigen } from '../math/index.ts';
import type { AdjustableObservation, TieTest } from '../model/index.ts';
import { correctedProbability, countTests, type FirstSuspect, findFirstSuspect } from './first-suspect.ts';
import { type ModelErrorTest, ModelErrorTests, type ResidualCovariance } from './model-error-tests.ts';
import { isPartOf, listModelErrors, type ModelError } from './model-errors.ts';
import type { ObservedElement, ObservedElements } from './observed-elements.ts';

/** Options of `testTies`. */
export interface TieTestOptions {
  /** Probability that any tie or measurement of a good network is called bad. */
  readonly level: number;
  /** Probability with which an error of the stated detectable size is found. */
  readonly power: number;
  /** Blocks of the frames that are placed. */
  readonly frameBlocks: readonly number[];
}

/** One per cent for the whole network, so that a good job is hardly ever blamed; 80 % as usual [Baarda68]. */
export const TIE_TEST_LEVELS: { readonly level: number; readonly power: number } = { level: 0.01, power: 0.8 };

/** A suspicion in words, for a finding. */
export interface SuspectedError {
  /** The first suspect, then those that cannot be told from it. */
  readonly words: readonly string[];
  /** Ties of the first suspect. */
  readonly ties: readonly string[];
  /** Ties of the others. */
  readonly rivalTies: readonly string[];
  /** `observation`: one measurement is enough to explain it. */
  readonly kind: ModelError['kind'];
  readonly statistic: number;
  readonly degreesOfFreedom: number;
  readonly probability: number;
  /** Tests that the probability is corrected for. */
  readonly testCount: number;
  /** What the first suspect is made of. */
  readonly observations: readonly AdjustableObservation[];
}

/** Result of `testTies`. */
export interface TieTestResult {
  readonly tests: ReadonlyMap<string, TieTest>;
  readonly suspect: SuspectedError | null;
}

/**
 * Tests every tie against what the rest of the network says, and names the first suspect.
 *
 * Method   mean shift of all that the tie says as a rigid body, chi-square with known variances; probabilities times the number
 *          of tests (Bonferroni: safe whatever the tests have in common). Smallest detectable error and its largest effect
 *          [Baarda68], at the corrected level. With a suspect, the other ties are tested with it left out of the rest.
 */
export function testTies(
  observed: ObservedElements,
  noise: ResidualCovariance,
  options: TieTestOptions,
): TieTestResult {
  const errors = listModelErrors(observed);
  const system = new ModelErrorTests(observed, errors, noise);
  const tests = system.tests();
  const testCount = countTests(tests);
  const suspect = findFirstSuspect(errors, tests, options.level, testCount);
  const given = suspect ? system.testsGiven(suspect.first) : tests;
  const errorsOfTie = new Map<string, number[]>();
  errors.forEach((error, i) => {
    for (const tie of error.ties) {
      const list = errorsOfTie.get(tie) ?? [];
      errorsOfTie.set(tie, list);
      list.push(i);
    }
  });
  const judge: Judge = {
    errors,
    system,
    tests,
    given,
    testCount,
    suspect,
    options,
    noncentralities: new Map(),
    errorsOfTie,
  };
  const results = new Map<string, TieTest>();
  for (const tie of new Set(observed.elements.map((e) => e.tie))) results.set(tie, judgeTie(tie, judge));
  return { tests: results, suspect: suspect && describeSuspect(observed, errors, suspect, testCount) };
}

interface Judge {
  readonly errors: readonly ModelError[];
  readonly system: ModelErrorTests;
  readonly tests: readonly ModelErrorTest[];
  readonly given: readonly ModelErrorTest[];
  readonly testCount: number;
  readonly suspect: FirstSuspect | null;
  readonly options: TieTestOptions;
  readonly noncentralities: Map<number, number>;
  /** Indices of the errors that a tie is part of. */
  readonly errorsOfTie: ReadonlyMap<string, readonly number[]>;
}

/**
 * The error that stands for a tie: all it says together where something checks that (of several, as for the targets of either
 * frame, the least likely), else the least likely of its measurements; -1 when nothing checks any of it.
 */
function representative(tie: string, { errors, errorsOfTie, tests }: Judge, of: readonly ModelErrorTest[]): number {
  let best = -1;
  const rank = (i: number): number =>
    ((errors[i] as ModelError).kind === 'tie' ? -1e9 : 0) + (of[i] as ModelErrorTest).logProbability;
  for (const i of errorsOfTie.get(tie) ?? []) {
    if ((of[i] as ModelErrorTest).degreesOfFreedom === 0) continue;
    if ((tests[i] as ModelErrorTest).degreesOfFreedom === 0) continue;
    if (best < 0 || rank(i) < rank(best)) best = i;
  }
  return best;
}

function judgeTie(tie: string, judge: Judge): TieTest {
  const { errors, tests, given, testCount, suspect, options } = judge;
  const first = suspect ? (errors[suspect.first] as ModelError) : null;
  const rivals = suspect ? suspect.rivals.map((i) => errors[i] as ModelError) : [];
  const isInvolved = [first, ...rivals].some((e) => e?.ties.includes(tie));
  const used = isInvolved ? tests : given;
  const index = representative(tie, judge, used);
  const test = index < 0 ? null : (used[index] as ModelErrorTest);
  const own = index < 0 ? null : (tests[index] as ModelErrorTest);
  if (test === null || own === null || test.degreesOfFreedom === 0) {
    return {
      verdict: 'not-checked',
      statistic: 0,
      degreesOfFreedom: 0,
      probability: 1,
      confusedWith: [],
      detectable: null,
      effect: null,
    };
  }
  const probability = correctedProbability(test.logProbability, testCount);
  let verdict: TieTest['verdict'] = 'agrees';
  let confusedWith: string[] = [];
  if (isInvolved && first) {
    const others = new Set(rivals.flatMap((e) => e.ties));
    if (!first.ties.includes(tie)) for (const other of first.ties) others.add(other);
    else for (const other of first.ties) others.delete(other);
    others.delete(tie);
    confusedWith = [...others];
    verdict = confusedWith.length > 0 ? 'cannot-tell' : 'stands-out';
  } else if (probability < options.level && first) {
    // More than one thing is wrong: which of these it is comes out when the first suspect is left out.
    verdict = 'cannot-tell';
    confusedWith = first.ties.filter((t) => t !== tie);
  }
  return {
    verdict,
    statistic: test.statistic,
    degreesOfFreedom: test.degreesOfFreedom,
    probability,
    confusedWith,
    ...detectableError(index, own, judge),
  };
}

/** Noncentrality of each number of degrees of freedom, computed once a network. */
function noncentralityOf({ noncentralities, options, testCount }: Judge, degreesOfFreedom: number): number {
  const known = noncentralities.get(degreesOfFreedom);
  if (known !== undefined) return known;
  const found = detectableNoncentrality(options.level / testCount, options.power, degreesOfFreedom);
  noncentralities.set(degreesOfFreedom, found);
  return found;
}

/** Smallest error that is surely seen, in its least seen direction, and what it would move. */
function detectableError(index: number, test: ModelErrorTest, judge: Judge): Pick<TieTest, 'detectable' | 'effect'> {
  // A direction that nothing checks hides an error of any size.
  if (test.degreesOfFreedom < test.rank) return { detectable: null, effect: null };
  const { errors } = judge;
  const error = errors[index] as ModelError;
  const noncentrality = noncentralityOf(judge, test.degreesOfFreedom);
  const size = (rows: number, matrix: Float64Array): number =>
    Math.sqrt(noncentrality * largestSpread(rows, matrix, test.inverse, error.count));
  const detectable = Math.max(...error.displacements.map((d) => size(d.rows, d.matrix)));
  return { detectable, effect: largestEffect(index, test, noncentrality, judge) };
}

/** What an error of the smallest size that is surely seen moves the frame that it moves most. */
function largestEffect(
  index: number,
  test: ModelErrorTest,
  noncentrality: number,
  { errors, system, options }: Judge,
): number {
  const { count } = errors[index] as ModelError;
  // No eigenvalue is larger than the trace: most frames need not be looked at.
  const candidates = options.frameBlocks
    .map((block) => {
      const spread = spreadOf(6, system.influence(index, block), test.inverse, count);
      let trace = 0;
      for (let i = 0; i < 6; i++) trace += spread[7 * i];
      return { spread, trace };
    })
    .sort((a, b) => b.trace - a.trace);
  let largest = 0;
  for (const { spread, trace } of candidates) {
    if (trace <= largest) break;
    largest = Math.max(largest, symmetricEigen(spread, 6).values[5]);
  }
  return Math.sqrt(noncentrality * largest);
}

/** Largest eigenvalue of D S D^T. */
function largestSpread(rows: number, matrix: Float64Array, spread: Float64Array, count: number): number {
  return Math.max(0, symmetricEigen(spreadOf(rows, matrix, spread, count), rows).values[rows - 1]);
}

/** D S D^T; D rows x count. */
function spreadOf(rows: number, matrix: Float64Array, spread: Float64Array, count: number): Float64Array {
  const out = new Float64Array(rows * rows);
  const half = new Float64Array(count);
  for (let i = 0; i < rows; i++) {
    half.fill(0);
    for (let k = 0; k < count; k++) {
      const value = matrix[i * count + k];
      if (value !== 0) for (let l = 0; l < count; l++) half[l] += value * spread[k * count + l];
    }
    for (let j = 0; j <= i; j++) {
      let sum = 0;
      for (let l = 0; l < count; l++) sum += half[l] * matrix[j * count + l];
      out[i * rows + j] = sum;
      out[j * rows + i] = sum;
    }
  }
  return out;
}

function describeSuspect(
  observed: ObservedElements,
  errors: readonly ModelError[],
  suspect: FirstSuspect,
  testCount: number,
): SuspectedError {
  const first = errors[suspect.first] as ModelError;
  const rivals = suspect.rivals.map((i) => errors[i] as ModelError);
  // One measurement among others: those that hold it too say nothing more.
  const alike =
    first.kind === 'observation'
      ? rivals.filter((e) => e.kind === 'observation')
      : rivals.filter((e) => e.kind === 'tie' || !rivals.some((o) => o.kind === 'tie' && isPartOf(e, o)));
  const shown = alike.length > 0 ? alike : rivals;
  return {
    words: [...new Set([first, ...shown].map((e) => e.words))],
    ties: first.ties,
    rivalTies: [...new Set(rivals.flatMap((e) => e.ties))].filter((t) => !first.ties.includes(t)),
    kind: first.kind,
    statistic: suspect.statistic,
    degreesOfFreedom: suspect.degreesOfFreedom,
    probability: suspect.probability,
    testCount,
    observations: first.shifts.map((s) => (observed.elements[s.element] as ObservedElement).source),
  };
}
