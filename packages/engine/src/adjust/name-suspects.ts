import { FindingList, type RunContext } from '../base/index.ts';
import { fisherTail } from '../math/index.ts';
import type { AdjustableObservation, TieTest } from '../model/index.ts';
import { type AdjustNetworkOptions, adjustNetwork, type NetworkAdjustment } from './adjust-network.ts';
import { suspectFinding } from './suspect-finding.ts';
import type { AdjustedTie } from './tie-results.ts';
import { type SuspectedError, TIE_TEST_LEVELS } from './tie-tests.ts';

/** Options of `adjustAndNameSuspects`. */
export interface NameSuspectsOptions extends Partial<AdjustNetworkOptions> {
  /** True: poses come from the network without the suspects, whose ties say so. False: everything counts, the suspects are only named. */
  readonly leaveOut?: boolean;
  /** After so many the network is not to be saved by leaving out. */
  readonly largestSuspectCount?: number;
}

/** Five bad ties in one job: it should be looked at as a whole. */
const LARGEST_SUSPECT_COUNT = 5;

/** Result of `adjustAndNameSuspects`. */
export interface NamedSuspects {
  readonly adjustment: NetworkAdjustment;
  /** In the order in which they were found; each was tested with those before it left out. */
  readonly suspects: readonly SuspectedError[];
}

/**
 * Adjusts a network and, when something does not fit, looks for all that does not: the first suspect is left out, the rest
 * adjusted and tested again, until nothing stands out (iterative data snooping [Baarda68]). Nothing is dropped silently: every
 * suspect is a finding, and unless `leaveOut` asks for it the result still counts it.
 *
 * Suspects found later are put back one at a time: who fits the rest then had been blamed for another's error, and is cleared.
 * When the rest fits itself worse than stated, a suspect has to stand out from that too (F test): where all sigmas are too small
 * nobody is to be blamed for it.
 *
 * @throws as `adjustNetwork`
 */
export async function adjustAndNameSuspects(
  observations: readonly AdjustableObservation[],
  options: NameSuspectsOptions,
  context: RunContext,
): Promise<NamedSuspects> {
  const { leaveOut = false, largestSuspectCount = LARGEST_SUSPECT_COUNT, ...settings } = options;
  const first = new FindingList();
  const whole = await adjustNetwork(observations, settings, { ...context.part(0, 0.4), findings: first });
  for (const finding of first.items) {
    if (!SUSPECT_CODES.has(finding.code)) context.findings.add(finding);
  }
  if (whole.suspect === null) return { adjustment: whole, suspects: [] };
  const quiet = (from: number, to: number): RunContext => ({
    ...context.part(from, to),
    findings: new FindingList(),
  });
  let suspects: SuspectedError[] = [];
  let rest = whole;
  let left: readonly AdjustableObservation[] = observations;
  while (rest.suspect !== null && suspects.length < largestSuspectCount) {
    suspects.push(rest.suspect);
    left = without(left, rest.suspect);
    if (left.length === 0) break;
    rest = await adjustNetwork(left, settings, quiet(0.4, 0.7));
  }
  if (suspects.length > 1) {
    const confirmed: SuspectedError[] = [];
    for (const suspect of suspects) {
      const others = suspects.filter((s) => s !== suspect && !isCleared(s, confirmed, suspects, suspect));
      const again = await adjustNetwork(withoutAll(observations, others), settings, quiet(0.7, 0.9));
      if (again.suspect !== null && overlaps(again.suspect, suspect)) confirmed.push(suspect);
    }
    if (confirmed.length > 0 && confirmed.length < suspects.length) {
      suspects = confirmed;
      left = withoutAll(observations, suspects);
      rest = await adjustNetwork(left, settings, quiet(0.9, 1));
    }
  }
  const level = settings.judge?.level ?? TIE_TEST_LEVELS.level;
  const outstanding = suspects.filter((s) => relativeProbability(s, rest) < level);
  if (outstanding.length < suspects.length) {
    suspects = outstanding;
    left = withoutAll(observations, suspects);
    rest = suspects.length === 0 ? whole : await adjustNetwork(left, settings, quiet(0.9, 1));
  }
  for (const suspect of suspects) context.findings.add(suspectFinding(suspect));
  const ties = mergeTests(whole, rest, suspects, leaveOut);
  context.progress(1);
  return { adjustment: { ...(leaveOut ? rest : whole), ties }, suspects };
}

/** Findings of one adjustment about its suspect: said once, when all is known. */
const SUSPECT_CODES: ReadonlySet<string> = new Set(['observation-stands-out', 'tie-stands-out']);

/** Probability of a test value this large where the rest already fits itself as badly as it does. */
function relativeProbability(
  test: Pick<SuspectedError, 'statistic' | 'degreesOfFreedom' | 'probability' | 'testCount'>,
  rest: NetworkAdjustment,
): number {
  const whole = rest.globalTest;
  if (whole === null || !(whole.probability < whole.level)) return test.probability;
  const ratio = (test.statistic * whole.degreesOfFreedom) / (test.degreesOfFreedom * whole.statistic);
  return Math.min(1, test.testCount * fisherTail(ratio, test.degreesOfFreedom, whole.degreesOfFreedom));
}

/** Whether a suspect was already judged and not confirmed. */
function isCleared(
  s: SuspectedError,
  confirmed: readonly SuspectedError[],
  all: readonly SuspectedError[],
  now: SuspectedError,
): boolean {
  return all.indexOf(s) < all.indexOf(now) && !confirmed.includes(s);
}

function overlaps(a: SuspectedError, b: SuspectedError): boolean {
  return [...a.ties, ...a.rivalTies].some((t) => b.ties.includes(t));
}

function without(observations: readonly AdjustableObservation[], suspect: SuspectedError): AdjustableObservation[] {
  const bad = new Set(suspect.observations);
  return observations.filter((o) => !bad.has(o));
}

function withoutAll(
  observations: readonly AdjustableObservation[],
  suspects: readonly SuspectedError[],
): AdjustableObservation[] {
  const bad = new Set(suspects.flatMap((s) => s.observations));
  return observations.filter((o) => !bad.has(o));
}

/** Suspects keep the test that named them; all others have the one with the suspects left out. */
function mergeTests(
  whole: NetworkAdjustment,
  rest: NetworkAdjustment,
  suspects: readonly SuspectedError[],
  leaveOut: boolean,
): AdjustedTie[] {
  const named = new Set(suspects.flatMap((s) => [...s.ties, ...s.rivalTies]));
  const later = new Map(rest.ties.map((t) => [t.id, t]));
  return whole.ties.map((tie) => {
    const again = later.get(tie.id);
    const base = leaveOut && again ? again : tie;
    if (!named.has(tie.id)) return { ...base, test: cleared(again?.test ?? tie.test) };
    const own = suspects.find((s) => s.ties.includes(tie.id));
    const others = suspects.filter((s) => s.rivalTies.includes(tie.id) || s.ties.includes(tie.id));
    const confusedWith = [...new Set(others.flatMap((s) => [...s.ties, ...s.rivalTies]))].filter(
      (id) => id !== tie.id && !(own?.ties.includes(id) ?? false),
    );
    const test = tie.test && {
      ...tie.test,
      verdict: confusedWith.length > 0 ? ('cannot-tell' as const) : ('stands-out' as const),
      confusedWith,
    };
    if (!leaveOut || !own) return { ...base, test };
    const isWhole = again === undefined;
    const message = isWhole ? 'Left out: it does not fit the rest.' : `Left out of it: ${own.words[0]}.`;
    return { ...base, test, status: isWhole ? 'rejected' : base.status, message };
  });
}

/** Who was not named in the end agrees, as far as it was checked. */
function cleared(test: TieTest | null): TieTest | null {
  if (test === null || test.verdict === 'agrees' || test.verdict === 'not-checked') return test;
  return { ...test, verdict: 'agrees', confusedWith: [] };
}
