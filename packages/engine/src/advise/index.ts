// Advise: which single added tie would help the worst place most.
export type {
  Advice,
  AdviceCandidate,
  AdviseFrame,
  AdviseInput,
  AdviseOptions,
  AdviseTie,
  PlaceUncertainty,
  UncertainRegion,
} from './advice.ts';
export { adviseTie } from './advise-tie.ts';
