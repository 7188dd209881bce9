import { requireDistance, requireLength, requireNeighbourCount, tripleCount } from '../check-buffers.ts';
import type { PointIndex } from '../point-index.ts';
import type { KernelInstance } from './kernel-instance.ts';
import type { MemoryBlock } from './memory-blocks.ts';
import { CHUNK, forEachChunk } from './query-order.ts';
import { freeTree, ownTree } from './tree-owner.ts';

const LEAF_SIZE = 8;
const LEAF_BYTES = 128;

/** Answers of one call are kept below this many bytes. */
const ANSWER_BYTES = 2 ** 22;

/** A k-d tree in the kernels' memory; see `PointIndex` for what its searches promise. */
export class WasmPointIndex implements PointIndex {
  readonly pointCount: number;
  /** Points with finite coordinates: those in the tree. */
  readonly entryCount: number;
  readonly instance: KernelInstance;
  private tree: MemoryBlock | null;
  private readonly isOwner: boolean;

  /** Wraps a finished tree; only its owner frees it. */
  constructor(
    instance: KernelInstance,
    tree: MemoryBlock | null,
    pointCount: number,
    entryCount: number,
    isOwner: boolean,
  ) {
    this.instance = instance;
    this.tree = tree;
    this.pointCount = pointCount;
    this.entryCount = entryCount;
    this.isOwner = isOwner;
    if (tree && isOwner) ownTree(this, instance, tree);
  }

  /** Builds a tree; the positions are copied. */
  static build(instance: KernelInstance, positions: Float32Array): WasmPointIndex {
    const pointCount = tripleCount(positions, 'positions');
    const tree = instance.take(instance.functions.treeSize(pointCount, LEAF_SIZE, LEAF_BYTES));
    try {
      const entryCount = instance.borrow([positions.byteLength], (copy) => {
        instance.float32(copy, positions.length).set(positions);
        return instance.functions.fillPointRecords(copy, pointCount, tree.start);
      });
      if (entryCount > 0) instance.functions.buildPointTree(tree.start, entryCount);
      return new WasmPointIndex(instance, tree, pointCount, entryCount, true);
    } catch (error) {
      instance.give(tree);
      throw error;
    }
  }

  /** The tree's block. */
  block(): MemoryBlock {
    if (!this.tree) throw new Error('This index was disposed of.');
    return this.tree;
  }

  nearest(queries: Float32Array, maxDistance: number, outIndex: Int32Array, outDistanceSquared: Float32Array): void {
    const total = tripleCount(queries, 'queries');
    requireDistance(maxDistance, 'maxDistance');
    requireLength(outIndex, total, 'outIndex');
    requireLength(outDistanceSquared, total, 'outDistanceSquared');
    const tree = this.block().start;
    if (this.entryCount === 0) {
      fillNone(outIndex, outDistanceSquared, total);
      return;
    }
    const { instance } = this;
    const sizes = [CHUNK * 4, CHUNK * 4, instance.functions.scratchSize(1)];
    instance.borrow(sizes, (index, distance, scratch) => {
      instance.functions.prepareScratch(scratch);
      const limit = maxDistance * maxDistance;
      forEachChunk(instance, queries, ({ queries: at, count, first, places }) => {
        instance.functions.nearest(tree, at, count, limit, index, distance, scratch);
        deliver(instance.int32(index, count), outIndex, 1, first, places);
        deliver(instance.float32(distance, count), outDistanceSquared, 1, first, places);
      });
    });
  }

  kNearest(queries: Float32Array, k: number, outIndex: Int32Array, outDistanceSquared: Float32Array): void {
    const total = tripleCount(queries, 'queries');
    requireNeighbourCount(k);
    requireLength(outIndex, total * k, 'outIndex');
    requireLength(outDistanceSquared, total * k, 'outDistanceSquared');
    const tree = this.block().start;
    if (this.entryCount === 0) {
      fillNone(outIndex, outDistanceSquared, total * k);
      return;
    }
    const { instance } = this;
    const part = Math.max(1, Math.min(CHUNK, Math.floor(ANSWER_BYTES / (8 * k))));
    const sizes = [part * k * 4, part * k * 4, instance.functions.scratchSize(k)];
    instance.borrow(sizes, (index, distance, scratch) => {
      instance.functions.prepareScratch(scratch);
      forEachChunk(instance, queries, ({ queries: at, count, first, places }) => {
        for (let from = 0; from < count; from += part) {
          const size = Math.min(part, count - from);
          instance.functions.kNearest(tree, at + 12 * from, size, k, index, distance, scratch);
          const where = places ? places.subarray(from, from + size) : null;
          deliver(instance.int32(index, size * k), outIndex, k, first + from, where);
          deliver(instance.float32(distance, size * k), outDistanceSquared, k, first + from, where);
        }
      });
    });
  }

  withinRadius(queries: Float32Array, radius: number): { offsets: Uint32Array; indices: Int32Array } {
    const total = tripleCount(queries, 'queries');
    requireDistance(radius, 'radius');
    const tree = this.block().start;
    const offsets = new Uint32Array(total + 1);
    if (this.entryCount === 0) return { offsets, indices: new Int32Array(0) };
    const { instance } = this;
    const counts = new Uint32Array(total);
    const parts: { ends: Uint32Array; found: Int32Array; first: number; places: Uint32Array | null }[] = [];
    let capacity = Math.min(ANSWER_BYTES / 4, Math.max(4096, this.entryCount + 8));
    instance.borrow([CHUNK * 4, instance.functions.scratchSize(1)], (ends, scratch) => {
      forEachChunk(instance, queries, ({ queries: at, count, first, places }) => {
        let from = 0;
        while (from < count) {
          const done = instance.borrow([capacity * 4], (found) => {
            const n = instance.functions.withinRadius(
              tree,
              at + 12 * from,
              count - from,
              radius * radius,
              ends,
              found,
              capacity,
              scratch,
            );
            if (n > 0) {
              const part = {
                ends: instance.uint32(ends, n).slice(),
                found: instance.int32(found, instance.uint32(ends, n)[n - 1]).slice(),
                first: first + from,
                places: places ? places.subarray(from, from + n) : null,
              };
              parts.push(part);
              for (let i = 0; i < n; i++) {
                counts[part.places ? part.places[i] : part.first + i] = part.ends[i] - (i > 0 ? part.ends[i - 1] : 0);
              }
            }
            return n;
          });
          // One query that does not fit at all: the most it can have is every point.
          if (done === 0) capacity = Math.min(2 * capacity, this.entryCount + 8);
          from += done;
        }
      });
    });
    for (let i = 0; i < total; i++) offsets[i + 1] = offsets[i] + counts[i];
    const indices = new Int32Array(offsets[total]);
    for (const part of parts) {
      for (let i = 0; i < part.ends.length; i++) {
        const place = part.places ? part.places[i] : part.first + i;
        indices.set(part.found.subarray(i > 0 ? part.ends[i - 1] : 0, part.ends[i]), offsets[place]);
      }
    }
    return { offsets, indices };
  }

  dispose(): void {
    if (this.tree && this.isOwner) freeTree(this, this.instance, this.tree);
    this.tree = null;
  }
}

/** Copies answers of `width` numbers a query to the places they belong to. */
export function deliver(
  from: Int32Array | Float32Array,
  to: Int32Array | Float32Array,
  width: number,
  first: number,
  places: Uint32Array | null,
): void {
  if (!places) {
    to.set(from, first * width);
    return;
  }
  for (let i = 0, at = 0; i < places.length; i++) {
    const end = (places[i] + 1) * width;
    for (let j = end - width; j < end; j++) to[j] = from[at++];
  }
}

function fillNone(outIndex: Int32Array, outDistance: Float32Array, length: number): void {
  outIndex.fill(-1, 0, length);
  outDistance.fill(Infinity, 0, length);
}
