// Model: the types that stages hand to each other. Data only.
export * from './alignment.ts';
export * from './instrument.ts';
export * from './job-document.ts';
export * from './joint-covariance.ts';
export * from './materials.ts';
export * from './observation.ts';
export * from './overlap-patches.ts';
export * from './scan.ts';
export * from './thermal.ts';
export * from './tie.ts';
