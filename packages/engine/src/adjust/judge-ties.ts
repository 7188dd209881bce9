import type { OverlapCorrelation, TieTest, VarianceComponent } from '../model/index.ts';
import type { NetworkModel } from './network-model.ts';
import { type ObservedElement, observeElements } from './observed-elements.ts';
import { residualCovariance } from './residual-covariance.ts';
import type { SolvedNetwork } from './solve-network.ts';
import type { StatedCovariance } from './stated-covariance.ts';
import { type SuspectedError, TIE_TEST_LEVELS, testTies } from './tie-tests.ts';
import { estimateVarianceComponents } from './variance-components.ts';

/** How ties are judged. */
export interface JudgeTiesOptions {
  /** Probability that anything in a good network is called bad. */
  readonly level: number;
  /** Probability with which an error of the stated detectable size is found. */
  readonly power: number;
  /** Group of a measurement for the variance components; null: it has none. */
  readonly componentGroup: (measurement: MeasurementKind) => string | null;
}

/** What a measurement is grouped by. */
export type MeasurementKind = Pick<ObservedElement, 'tie' | 'kind' | 'frames'>;

const GROUP_WORDS: Readonly<Record<ObservedElement['kind'], string | null>> = {
  overlap: 'overlaps',
  target: 'targets',
  pair: 'picked pairs',
  probe: 'probed points',
  distance: 'distances',
  difference: 'differences of points',
  'known-point': 'known points',
  relation: 'relations of features',
  prior: null,
};

/** Groups by kind of measurement. */
export function groupByKind({ kind }: MeasurementKind): string | null {
  return GROUP_WORDS[kind];
}

/** Groups by kind of measurement and the instruments of its frames. */
export function groupByInstrument(
  instrumentOfFrame: ReadonlyMap<string, string>,
): (measurement: MeasurementKind) => string | null {
  return (measurement) => {
    const kind = groupByKind(measurement);
    const names = [...new Set(measurement.frames.flatMap((f) => instrumentOfFrame.get(f) ?? []))].sort();
    return kind === null || names.length === 0 ? kind : `${kind}, ${names.join(' and ')}`;
  };
}

/** Levels of the tie tests; variance components by kind. */
export const JUDGE_TIES_DEFAULTS: JudgeTiesOptions = { ...TIE_TEST_LEVELS, componentGroup: groupByKind };

/** Judgement of all ties of a solved network. */
export interface JudgedTies {
  readonly tests: ReadonlyMap<string, TieTest>;
  readonly suspect: SuspectedError | null;
  readonly components: readonly VarianceComponent[];
}

/** Tests the ties of a solved network and estimates its variance components. */
export function judgeTies(
  model: NetworkModel,
  solved: SolvedNetwork,
  stated: StatedCovariance,
  settings: { readonly judge: JudgeTiesOptions | null; readonly correlations: readonly OverlapCorrelation[] },
): JudgedTies {
  const { judge, correlations } = settings;
  if (judge === null) return { tests: new Map(), suspect: null, components: [] };
  const { unknowns, linear } = solved;
  const observed = observeElements(model, unknowns, linear);
  const { tests, suspect } = testTies(observed, residualCovariance(model, solved, stated, observed, correlations), {
    level: judge.level,
    power: judge.power,
    frameBlocks: Array.from(unknowns.blockOfFrame).filter((b) => b >= 0),
  });
  return { tests, suspect, components: estimateVarianceComponents(observed, judge.componentGroup) };
}
