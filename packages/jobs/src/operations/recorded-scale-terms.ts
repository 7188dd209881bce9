import type { ResultRecord, ScaleTerm } from '@lapjoint/engine';

interface RecordedTerm {
  readonly name: string;
  readonly sigma: number;
  readonly isEstimated: boolean;
  readonly coefficients: Readonly<Record<string, number>>;
}

/** Errors of length that an alignment counted or estimated, as its record keeps them; none in records of early versions. */
export function recordedScaleTerms(record: ResultRecord): ScaleTerm[] {
  const terms = record.parameters['scaleTerms'] as unknown as readonly RecordedTerm[] | undefined;
  return (terms ?? []).map((term) => ({ ...term, coefficients: new Map(Object.entries(term.coefficients)) }));
}
