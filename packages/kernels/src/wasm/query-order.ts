import type { KernelInstance } from './kernel-instance.ts';

/** Queries of one call into the compiled code: a very long call would stay in the engine's slow first tier. */
export const CHUNK = 4096;

/** What a chunk's callback is given: queries in memory and the places their answers belong to. */
export interface QueryChunk {
  /** Address of the queries. */
  readonly queries: number;
  readonly count: number;
  /** Number of the first query in the caller's order; used where `places` is null. */
  readonly first: number;
  /** Places in the caller's order, or null where the chunk is in that order already. */
  readonly places: Uint32Array | null;
}

/**
 * Feeds queries to `work` in chunks, in an order that jumps little: the caller's own where neighbours in the list are
 * neighbours in space, else along a Z curve. Searches start from the last answer, so this decides their speed.
 */
export function forEachChunk(instance: KernelInstance, queries: Float32Array, work: (chunk: QueryChunk) => void): void {
  const total = queries.length / 3;
  if (isCoherent(queries)) {
    instance.borrow([CHUNK * 12], (at) => {
      for (let first = 0; first < total; first += CHUNK) {
        const count = Math.min(CHUNK, total - first);
        instance.float32(at, 3 * count).set(queries.subarray(3 * first, 3 * (first + count)));
        work({ queries: at, count, first, places: null });
      }
    });
    return;
  }
  const batches = Math.ceil(total / instance.batchSize);
  const batch = Math.ceil(total / batches);
  const sizes = [batch * 12, batch * 8, batch * 8, batch * 4, 4096, CHUNK * 12];
  instance.borrow(sizes, (points, a, b, order, histogram, at) => {
    for (let start = 0; start < total; start += batch) {
      const size = Math.min(batch, total - start);
      instance.float32(points, 3 * size).set(queries.subarray(3 * start, 3 * (start + size)));
      instance.functions.mortonOrder(points, size, a, b, histogram, order);
      for (let first = 0; first < size; first += CHUNK) {
        const count = Math.min(CHUNK, size - first);
        instance.functions.gatherPoints(points, order + 4 * first, count, at);
        const places = instance.uint32(order + 4 * first, count).slice();
        if (start > 0) for (let i = 0; i < count; i++) places[i] += start;
        work({ queries: at, count, first: start + first, places });
      }
    }
  });
}

/** Whether most steps between sampled neighbours are short against the spacing of a surface with that many points. */
function isCoherent(queries: Float32Array): boolean {
  const total = queries.length / 3;
  if (total < 256) return true;
  const samples = 192;
  const steps: number[] = [];
  const low = [Infinity, Infinity, Infinity];
  const high = [-Infinity, -Infinity, -Infinity];
  for (let sample = 0; sample < samples; sample++) {
    const i = Math.floor((sample * (total - 2)) / (samples - 1));
    let step = 0;
    for (let axis = 0; axis < 3; axis++) {
      const value = queries[3 * i + axis];
      if (value < low[axis]) low[axis] = value;
      if (value > high[axis]) high[axis] = value;
      step += (queries[3 * i + 3 + axis] - value) ** 2;
    }
    steps.push(Number.isFinite(step) ? step : 0);
  }
  steps.sort((p, q) => p - q);
  const extent = Math.max(high[0] - low[0], high[1] - low[1], high[2] - low[2]);
  const spacing = (4 * extent) / Math.sqrt(total);
  return steps[Math.floor(0.8 * samples)] <= spacing * spacing;
}
