// Covariance: how the errors of an instrument's points hang together, learned from overlaps; weights for the adjustment.
export type { ErrorScan, PatchedOverlap } from './patched-overlap.ts';
export { type WeighedOverlaps, weighOverlaps } from './weigh-overlaps.ts';
