// The library. One entry; folders below are private.
export * from './adjust/index.ts';
export * from './advise/index.ts';
export * from './base/index.ts';
export * from './covariance/index.ts';
export * from './formats/index.ts';
export * from './fuse/index.ts';
export * from './geometry/index.ts';
export * from './math/index.ts';
export * from './model/index.ts';
export * from './pipeline/index.ts';
export * from './register/index.ts';
export * from './report/index.ts';
export * from './simulate/index.ts';
