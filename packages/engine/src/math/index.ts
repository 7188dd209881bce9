// Math: vectors, poses, small linear algebra. float64 throughout; depends on base only.
export * from './absolute-orientation.ts';
export * from './chi-square.ts';
export * from './cholesky.ts';
export * from './matrix3.ts';
export * from './orientation-adjustment.ts';
export * from './planar-orientation.ts';
export * from './pose.ts';
export * from './symmetric-eigen.ts';
export * from './tridiagonal-form.ts';
export * from './vec3.ts';
