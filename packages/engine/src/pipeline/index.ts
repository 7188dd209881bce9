// Pipeline: the order of the stages. Takes what was captured, gives poses and one surface; runs its parts on a task runner.
export * from './align-input.ts';
export * from './align-options.ts';
export * from './align-scans.ts';
export * from './frame-groups.ts';
export * from './fuse-aligned-scans.ts';
export * from './fuse-input.ts';
export * from './judge-fused-surface.ts';
export * from './known-terms-covariance.ts';
export * from './one-frame-covariance.ts';
export * from './task-runner.ts';
export * from './tasks.ts';
