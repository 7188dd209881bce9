// Advise: which single added tie would help the worst place most.
export type {
  Advice,
  AdviceCandidate,
  AdviseFrame,
  AdviseInput,
  AdviseOptions,
  AdviseTie,
  PlacedSurface,
  PlaceUncertainty,
  UncertainRegion,
} from './advice.ts';
export { ADVISE_DEFAULTS, adviseTie } from './advise-tie.ts';
export { sampleFrame } from './sample-frame.ts';
