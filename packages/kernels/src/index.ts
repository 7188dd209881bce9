// Kernels: hot loops over plain number arrays. Imports nothing.
export type { EstimatedNormals, PointIndex } from './point-index.ts';
export { closestPointToOrigin } from './reference/closest-point-on-triangle.ts';
export { estimateNormals } from './reference/normals.ts';
export { buildPointIndex } from './reference/point-index.ts';
export { smallestEigenvector } from './reference/smallest-eigenvector.ts';
export { buildTriangleIndex } from './reference/triangle-index.ts';
export type { TriangleIndex } from './triangle-index.ts';
