import { requireDistance, requireLength, requireTriangles, tripleCount } from '../check-buffers.ts';
import type { TriangleIndex } from '../triangle-index.ts';
import type { KernelInstance } from './kernel-instance.ts';
import type { MemoryBlock } from './memory-blocks.ts';
import { deliver } from './point-index.ts';
import { CHUNK, forEachChunk } from './query-order.ts';
import { freeTree, ownTree } from './tree-owner.ts';

const LEAF_SIZE = 4;
const LEAF_BYTES = 160;
/** Squared distances beyond the largest float32 count as none. */
const LARGEST = 3.4028234663852886e38;

/** A tree of boxes over triangles in the kernels' memory; see `TriangleIndex` for what its searches promise. */
export class WasmTriangleIndex implements TriangleIndex {
  readonly triangleCount: number;
  /** Triangles with finite corners: those in the tree. */
  readonly entryCount: number;
  readonly instance: KernelInstance;
  private tree: MemoryBlock | null;
  private readonly isOwner: boolean;

  /** Wraps a finished tree; only its owner frees it. */
  constructor(
    instance: KernelInstance,
    tree: MemoryBlock | null,
    triangleCount: number,
    entryCount: number,
    isOwner: boolean,
  ) {
    this.instance = instance;
    this.tree = tree;
    this.triangleCount = triangleCount;
    this.entryCount = entryCount;
    this.isOwner = isOwner;
    if (tree && isOwner) ownTree(this, instance, tree);
  }

  /** Builds a tree; positions and triangles are copied. */
  static build(instance: KernelInstance, positions: Float32Array, triangles: Uint32Array): WasmTriangleIndex {
    requireTriangles(triangles, tripleCount(positions, 'positions'));
    const count = triangles.length / 3;
    const { functions } = instance;
    const tree = instance.take(functions.treeSize(count, LEAF_SIZE, LEAF_BYTES));
    try {
      const sizes = [positions.byteLength, triangles.byteLength, count * 16];
      const entryCount = instance.borrow(sizes, (vertices, corners, records) => {
        instance.float32(vertices, positions.length).set(positions);
        instance.uint32(corners, triangles.length).set(triangles);
        const kept = functions.fillTriangleRecords(vertices, corners, count, records);
        if (kept > 0) functions.buildTriangleTree(tree.start, kept, records, vertices, corners);
        return kept;
      });
      return new WasmTriangleIndex(instance, tree, count, entryCount, true);
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

  closestPoints(
    queries: Float32Array,
    maxDistance: number,
    outTriangle: Int32Array,
    outPoint: Float32Array,
    outDistanceSquared: Float32Array,
  ): void {
    const total = tripleCount(queries, 'queries');
    requireDistance(maxDistance, 'maxDistance');
    requireLength(outTriangle, total, 'outTriangle');
    requireLength(outPoint, 3 * total, 'outPoint');
    requireLength(outDistanceSquared, total, 'outDistanceSquared');
    const tree = this.block().start;
    if (this.entryCount === 0) {
      outTriangle.fill(-1, 0, total);
      outPoint.fill(Number.NaN, 0, 3 * total);
      outDistanceSquared.fill(Infinity, 0, total);
      return;
    }
    const { instance } = this;
    const sizes = [CHUNK * 4, CHUNK * 12, CHUNK * 4, instance.functions.scratchSize(1)];
    instance.borrow(sizes, (triangle, point, distance, scratch) => {
      const limit = Math.min(maxDistance * maxDistance, LARGEST);
      forEachChunk(instance, queries, ({ queries: at, count, first, places }) => {
        instance.functions.closestPoints(tree, at, count, limit, triangle, point, distance, scratch);
        deliver(instance.int32(triangle, count), outTriangle, 1, first, places);
        deliver(instance.float32(point, 3 * count), outPoint, 3, first, places);
        deliver(instance.float32(distance, count), outDistanceSquared, 1, first, places);
      });
    });
  }

  castRays(
    origins: Float32Array,
    directions: Float32Array,
    maxDistance: number,
    outTriangle: Int32Array,
    outDistance: Float32Array,
  ): void {
    const total = tripleCount(origins, 'origins');
    requireLength(directions, 3 * total, 'directions');
    requireDistance(maxDistance, 'maxDistance');
    requireLength(outTriangle, total, 'outTriangle');
    requireLength(outDistance, total, 'outDistance');
    const tree = this.block().start;
    if (this.entryCount === 0) {
      outTriangle.fill(-1, 0, total);
      outDistance.fill(Infinity, 0, total);
      return;
    }
    const { instance } = this;
    const sizes = [CHUNK * 12, CHUNK * 12, CHUNK * 4, CHUNK * 4, instance.functions.scratchSize(1)];
    instance.borrow(sizes, (from, along, triangle, distance, scratch) => {
      for (let first = 0; first < total; first += CHUNK) {
        const count = Math.min(CHUNK, total - first);
        instance.float32(from, 3 * count).set(origins.subarray(3 * first, 3 * (first + count)));
        instance.float32(along, 3 * count).set(directions.subarray(3 * first, 3 * (first + count)));
        instance.functions.castRays(tree, from, along, count, maxDistance, triangle, distance, scratch);
        outTriangle.set(instance.int32(triangle, count), first);
        outDistance.set(instance.float32(distance, count), first);
      }
    });
  }

  dispose(): void {
    if (this.tree && this.isOwner) freeTree(this, this.instance, this.tree);
    this.tree = null;
  }
}
