// Kernels in AssemblyScript: raw memory, no managed objects, no static data. Every instance may share one memory; what a
// call may write is given to it by its arguments.
export { buildPointTree, buildTriangleTree, fillPointRecords, fillTriangleRecords, treeSize } from './build';
export { closestPoints } from './closest';
export { kNearest, scratchSize } from './k-nearest';
export { prepareScratch } from './layout';
export { gatherPoints, mortonOrder } from './morton';
export { nearest, withinRadius } from './nearest';
export { leafNormals } from './normals';
export { castRays } from './rays';
