import { Worker } from 'node:worker_threads';
import { describe, expect, it } from 'vitest';
import {
  buildPointIndex,
  buildTriangleIndex,
  type IndexHandle,
  releaseHandle,
  shareIndex,
  useKernels,
} from '../src/index.ts';
import { torus } from './meshes.ts';
import { makeRandom } from './point-sets.ts';

interface Answer {
  readonly indices: Int32Array;
  readonly distances: Float32Array;
}

function askWorker(handle: IndexHandle | null, queries: Float32Array, k: number): Promise<Answer> {
  const entry = JSON.stringify(new URL('./share-worker.ts', import.meta.url).href);
  const tsx = JSON.stringify(import.meta.resolve('tsx/esm/api'));
  const code = `import(${tsx}).then((tsx) => { tsx.register(); return import(${entry}); });`;
  return new Promise((resolve, reject) => {
    const worker = new Worker(code, { eval: true, workerData: { handle, queries, k } });
    worker.once('message', resolve);
    worker.once('error', reject);
  });
}

describe('an index shared with worker threads', () => {
  const random = makeRandom(31);
  const queries = Float32Array.from({ length: 3 * 9000 }, () => 2 * random() - 1);
  const half = queries.length / 2;

  it('gives two threads at once the bits that one thread gets: neighbours', async () => {
    useKernels('wasm');
    const k = 9;
    const index = buildPointIndex(Float32Array.from({ length: 30000 }, () => 2 * random() - 1));
    const alone = { indices: new Int32Array(9000 * k), distances: new Float32Array(9000 * k) };
    index.kNearest(queries, k, alone.indices, alone.distances);
    const handles = [shareIndex(index), shareIndex(index)];
    const parts = [queries.slice(0, half), queries.slice(half)];
    const answers = await Promise.all(parts.map((part, i) => askWorker(handles[i], part, k)));
    expect([...answers[0].indices, ...answers[1].indices]).toEqual([...alone.indices]);
    expect([...answers[0].distances, ...answers[1].distances]).toEqual([...alone.distances]);
    for (const handle of handles) if (handle) releaseHandle(index, handle);
  });

  it('gives two threads at once the bits that one thread gets: closest points', async () => {
    useKernels('wasm');
    const mesh = torus(60);
    const index = buildTriangleIndex(mesh.positions, mesh.triangles);
    const alone = { indices: new Int32Array(9000), distances: new Float32Array(9000) };
    index.closestPoints(queries, Infinity, alone.indices, new Float32Array(27000), alone.distances);
    const handles = [shareIndex(index), shareIndex(index)];
    const parts = [queries.slice(0, half), queries.slice(half)];
    const answers = await Promise.all(parts.map((part, i) => askWorker(handles[i], part, 1)));
    expect([...answers[0].indices, ...answers[1].indices]).toEqual([...alone.indices]);
    expect([...answers[0].distances, ...answers[1].distances]).toEqual([...alone.distances]);
  });

  it('has no handle with the reference kernels', () => {
    useKernels('reference');
    expect(shareIndex(buildPointIndex(new Float32Array(3)))).toBeNull();
    useKernels('wasm');
  });
});
