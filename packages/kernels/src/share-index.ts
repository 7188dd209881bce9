import type { PointIndex } from './point-index.ts';
import type { TriangleIndex } from './triangle-index.ts';
import { KernelInstance } from './wasm/kernel-instance.ts';
import type { MemoryBlock } from './wasm/memory-blocks.ts';
import { WasmPointIndex } from './wasm/point-index.ts';
import { WasmTriangleIndex } from './wasm/triangle-index.ts';
import type { SharedMemory } from './wasm/web-assembly.ts';

/** Room for one worker's calls: batches of 262144 queries, up to some hundred neighbours. */
const WORKSPACE_BYTES = 2 ** 25;

/**
 * An index as another thread can open it: plain data that `postMessage` carries, the memory itself is shared, not copied.
 *
 * One handle serves one thread, because it brings the workspace for that thread's calls.
 */
export interface IndexHandle {
  readonly kind: 'points' | 'triangles';
  readonly memory: SharedMemory;
  readonly tree: MemoryBlock;
  readonly workspace: MemoryBlock;
  readonly count: number;
  readonly entryCount: number;
}

/**
 * Makes a handle with which one other thread can search the same index. The index must outlive its handles.
 *
 * @returns null for an index that does not live in shared memory (the reference kernels); build it anew there
 */
export function shareIndex(
  index: PointIndex | TriangleIndex,
  workspaceBytes: number = WORKSPACE_BYTES,
): IndexHandle | null {
  if (!(index instanceof WasmPointIndex || index instanceof WasmTriangleIndex)) return null;
  return {
    kind: index instanceof WasmPointIndex ? 'points' : 'triangles',
    memory: index.instance.memory,
    tree: index.block(),
    workspace: index.instance.take(workspaceBytes),
    count: index instanceof WasmPointIndex ? index.pointCount : index.triangleCount,
    entryCount: index.entryCount,
  };
}

/** Frees the workspace of a handle; call it in the thread that made the handle, when the other one is done. */
export function releaseHandle(index: PointIndex | TriangleIndex, handle: IndexHandle): void {
  if (index instanceof WasmPointIndex || index instanceof WasmTriangleIndex) index.instance.give(handle.workspace);
}

/** Opens a shared point index in this thread. */
export function openPointIndex(handle: IndexHandle): PointIndex {
  if (handle.kind !== 'points') throw new TypeError('The handle is not that of a point index.');
  const instance = KernelInstance.open(handle.memory, handle.workspace);
  return new WasmPointIndex(instance, handle.tree, handle.count, handle.entryCount, false);
}

/** Opens a shared triangle index in this thread. */
export function openTriangleIndex(handle: IndexHandle): TriangleIndex {
  if (handle.kind !== 'triangles') throw new TypeError('The handle is not that of a triangle index.');
  const instance = KernelInstance.open(handle.memory, handle.workspace);
  return new WasmTriangleIndex(instance, handle.tree, handle.count, handle.entryCount, false);
}
