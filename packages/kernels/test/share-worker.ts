// Runs in a worker thread: answers queries with an index that lives in the memory of the main thread.
import { parentPort, workerData } from 'node:worker_threads';
import { openPointIndex, openTriangleIndex } from '../src/index.ts';

const { handle, queries, k } = workerData;
if (handle.kind === 'points') {
  const n = queries.length / 3;
  const indices = new Int32Array(n * k);
  const distances = new Float32Array(n * k);
  openPointIndex(handle).kNearest(queries, k, indices, distances);
  parentPort?.postMessage({ indices, distances });
} else {
  const n = queries.length / 3;
  const indices = new Int32Array(n);
  const points = new Float32Array(3 * n);
  const distances = new Float32Array(n);
  openTriangleIndex(handle).closestPoints(queries, Infinity, indices, points, distances);
  parentPort?.postMessage({ indices, distances });
}
