// Math: vectors, poses, small linear algebra. float64 throughout; depends on base only.
export * from './cholesky.ts';
export * from './pose.ts';
export * from './symmetric-eigen.ts';
export * from './vec3.ts';
