// Geometry: neighbours and closest points (from the kernels), normals, bounds, sums over matched points.
export type { EstimatedNormals, IndexHandle, PointIndex, TriangleIndex } from '@lapjoint/kernels';
export {
  buildPointIndex,
  buildTriangleIndex,
  estimateNormals,
  openPointIndex,
  openTriangleIndex,
  releaseHandle,
  shareIndex,
  useKernels,
} from '@lapjoint/kernels';
export * from './bounds.ts';
export * from './closest-point-on-triangle.ts';
export * from './hausdorff-distance.ts';
export * from './mesh-normals.ts';
export * from './mesh-topology.ts';
export * from './point-to-plane.ts';
