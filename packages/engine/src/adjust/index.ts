// Adjust: all frames at once from all ties, by least squares, with covariances, residuals, redundancies and closures.
// Inputs observations of the model (register makes them), outputs poses in the job frame. Does not look at scans.

export {
  ADJUST_NETWORK_DEFAULTS,
  type AdjustNetworkOptions,
  adjustNetwork,
  type NetworkAdjustment,
  type NetworkDatum,
  type SuspectObservations,
} from './adjust-network.ts';
export {
  groupByInstrument,
  groupByKind,
  JUDGE_TIES_DEFAULTS,
  type JudgeTiesOptions,
  type MeasurementKind,
} from './judge-ties.ts';
export type { NetworkClosure } from './loop-closures.ts';
export { adjustAndNameSuspects, type NamedSuspects, type NameSuspectsOptions } from './name-suspects.ts';
export type { NetworkFrame } from './network-frame.ts';
export type { PointResidual } from './network-residuals.ts';
export { type PointCovariance, pointCovariance, pointUncertainties } from './point-covariance.ts';
export {
  type DistanceUncertainty,
  distanceUncertainty,
  type FramePoint,
  jointPointCovariance,
  type PointUncertainty,
  pointUncertaintiesOf,
  pointUncertainty,
} from './point-uncertainty.ts';
export { reweighObservations } from './reweigh-observations.ts';
export type { ScalarResidual } from './scalar-residuals.ts';
export type { AdjustedTarget, RefusedPoint } from './target-results.ts';
export type { AdjustedTie } from './tie-results.ts';
export type { SuspectedError } from './tie-tests.ts';
