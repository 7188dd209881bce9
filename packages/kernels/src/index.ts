// Kernels: hot loops over plain number arrays, compiled to WebAssembly beside a twin in TypeScript. Imports nothing.
export {
  buildPointIndex,
  buildTriangleIndex,
  estimateNormals,
  type KernelKind,
  kernelKind,
  useKernels,
} from './kernels.ts';
export type { EstimatedNormals, PointIndex } from './point-index.ts';
export { closestPointToOrigin } from './reference/closest-point-on-triangle.ts';
export { smallestEigenvector } from './reference/smallest-eigenvector.ts';
export { type IndexHandle, openPointIndex, openTriangleIndex, releaseHandle, shareIndex } from './share-index.ts';
export type { TriangleIndex } from './triangle-index.ts';
