// Fuse: one surface from posed scans. Input: PosedScan[]; output: FusedSurface in the job frame, mm.
// Method: sums of signed distances on a sparse grid, kept apart by sheet, contoured without a table (docs/fusion.md).
// Work is cut into tiles, pure units that a pool may run; the result does not depend on how.
// It does not align scans, fill holes, or join sheets that were not seen.

export * from './distance-to-scans.ts';
export * from './fuse-scans.ts';
export * from './fuse-tile.ts';
export * from './fused-surface.ts';
export * from './fusion-plan.ts';
export type { FusionSamples } from './fusion-samples.ts';
export * from './fusion-tile.ts';
export { type FusionScanMeta, measureFusionScan } from './measure-scan.ts';
export * from './posed-scan.ts';
export * from './sample-scan.ts';
export * from './simplify-surface.ts';
export * from './stitch-tiles.ts';
export * from './surface-quality.ts';
export type { TileResult } from './tile-result.ts';
