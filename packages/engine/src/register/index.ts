// Register: a scan made ready, then the pose of one scan on another. Coarse without a guess, then fine; overlap as evidence.
// Inputs ScanData, outputs poses with their information and their refusals. Does not adjust networks (see adjust).

export {
  type AssemblyScan,
  describeForAssembly,
  matchPair,
  type PairMatch,
  type PairMatchInput,
} from './assemble-pair.ts';
export {
  type AssembledScan,
  type AssemblyRefusal,
  type AssemblyResult,
  assembleScans,
} from './assemble-scans.ts';
export {
  buildCoarseModel,
  type CoarseModel,
  chooseCoarseSpacing,
} from './coarse-model.ts';
export {
  type CoarsePose,
  type CoarsePosesResult,
  type CoarseSide,
  FIND_COARSE_POSES_DEFAULTS,
  type FindCoarsePosesOptions,
  findCoarsePoses,
} from './coarse-poses.ts';
export {
  MEASURE_OVERLAP_DEFAULTS,
  type MeasureOverlapOptions,
  measureOverlap,
  type OverlapMeasurement,
} from './measure-overlap.ts';
export type { FindMovedPartsOptions, MovedPart } from './moved-part.ts';
export { FIND_MOVED_PARTS_DEFAULTS, findMovedParts } from './moved-parts.ts';
export { OVERLAP_GAPS_DEFAULTS, type OverlapGaps, type OverlapGapsOptions, overlapGaps } from './overlap-gaps.ts';
export { compareScans } from './pair-order.ts';
export {
  ALIGN_PICKED_PAIRS_DEFAULTS,
  type AlignPickedPairsOptions,
  alignPickedPairs,
  type PickedPairResidual,
  type PickedPairsAlignment,
  type PickedPairsRefusal,
} from './picked-pairs.ts';
export { PREPARE_SCAN_DEFAULTS, type PrepareScanOptions, prepareScan } from './prepare-scan.ts';
export type { NormalOrientation, PreparedScan } from './prepared-scan.ts';
export { REFINE_POSE_DEFAULTS, type RefinePoseOptions, refinePose } from './refine-pose.ts';
export type { PoseInformation, RefinedPose, RefineStatus } from './refined-pose.ts';
export { releaseScanPointIndex, scanPointIndex } from './scan-point-index.ts';
export {
  MATCH_TARGETS_DEFAULTS,
  type MatchTargetsOptions,
  matchTargetConstellations,
  type TargetMatch,
  type TargetPair,
  type TargetRival,
} from './target-constellation.ts';
export type { TargetNameConflict } from './target-names.ts';
export type { TargetRefusal } from './target-refusal.ts';
export { choosePointsApart, thinScan } from './thin-scan.ts';
export { analyseInformation, type InformationAnalysis, nameDirections } from './weak-directions.ts';
export { widenPoints } from './widen-points.ts';
