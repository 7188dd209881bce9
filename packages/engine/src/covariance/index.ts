// Covariance: how the errors of an instrument's points hang together, learned from overlaps; weights for the adjustment.
export { type ErrorLikelihood, errorLikelihood, type LikelihoodTask } from './error-likelihood.ts';
export type { LearnedErrors, RunLikelihoods } from './learn-errors.ts';
export { fieldCorrelation } from './patch-kernel.ts';
export type { ErrorScan, PatchedOverlap } from './patched-overlap.ts';
export { type OverlapWeights, type WeighedOverlaps, weighOverlaps } from './weigh-overlaps.ts';
