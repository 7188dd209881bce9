import { KERNELS_WASM_BASE64 } from '../generated/kernels-wasm.ts';
import { decodeBase64 } from './decode-base64.ts';
import { type MemoryBlock, MemoryBlocks } from './memory-blocks.ts';
import { type SharedMemory, webAssembly } from './web-assembly.ts';

const PAGE = 65536;
const MAXIMUM_PAGES = 65536;
/** Nothing is kept at address 0, so that 0 can mean "none". */
const FIRST_BYTE = 4096;

/** Functions of the compiled kernels; addresses are bytes in the shared memory. */
export interface KernelFunctions {
  treeSize(count: number, leafSize: number, leafBytes: number): number;
  fillPointRecords(positions: number, count: number, tree: number): number;
  buildPointTree(tree: number, count: number): void;
  fillTriangleRecords(positions: number, triangles: number, count: number, records: number): number;
  buildTriangleTree(tree: number, count: number, records: number, positions: number, triangles: number): void;
  scratchSize(k: number): number;
  prepareScratch(scratch: number): void;
  mortonOrder(points: number, count: number, a: number, b: number, histogram: number, out: number): void;
  gatherPoints(points: number, order: number, count: number, out: number): void;
  nearest(
    tree: number,
    queries: number,
    count: number,
    limit: number,
    outIndex: number,
    outDistance: number,
    scratch: number,
  ): void;
  kNearest(
    tree: number,
    queries: number,
    count: number,
    k: number,
    outIndex: number,
    outDistance: number,
    scratch: number,
  ): void;
  withinRadius(
    tree: number,
    queries: number,
    count: number,
    limit: number,
    outEnds: number,
    out: number,
    capacity: number,
    scratch: number,
  ): number;
  leafNormals(
    tree: number,
    first: number,
    last: number,
    k: number,
    outNormals: number,
    outVariation: number,
    scratch: number,
  ): void;
  closestPoints(
    tree: number,
    queries: number,
    count: number,
    limit: number,
    outTriangle: number,
    outPoint: number,
    outDistance: number,
    scratch: number,
  ): void;
  castRays(
    tree: number,
    origins: number,
    directions: number,
    count: number,
    limit: number,
    outTriangle: number,
    outDistance: number,
    scratch: number,
  ): void;
}

/** One instance of the compiled kernels with the memory it works in. */
export class KernelInstance {
  readonly memory: SharedMemory;
  readonly functions: KernelFunctions;
  /** Most queries that are put in spatial order at once; bounded by the workspace of an instance in a worker. */
  readonly batchSize: number;
  private readonly blocks: MemoryBlocks;

  private constructor(memory: SharedMemory, blocks: MemoryBlocks, batchSize: number) {
    const platform = webAssembly();
    if (!platform) throw new Error('This platform has no WebAssembly with shared memory.');
    const module = new platform.Module(decodeBase64(KERNELS_WASM_BASE64));
    this.functions = new platform.Instance(module, { env: { memory } }).exports as KernelFunctions;
    this.memory = memory;
    this.blocks = blocks;
    this.batchSize = batchSize;
  }

  /** A new instance with a new memory. */
  static create(): KernelInstance {
    const platform = webAssembly();
    if (!platform) throw new Error('This platform has no WebAssembly with shared memory.');
    const memory = new platform.Memory({ initial: 1, maximum: MAXIMUM_PAGES, shared: true });
    return new KernelInstance(memory, new MemoryBlocks(FIRST_BYTE, PAGE, (end) => growTo(memory, end)), 2 ** 21);
  }

  /** Another instance, usually in another thread, that works inside one block of a memory it shares. */
  static open(memory: SharedMemory, workspace: MemoryBlock): KernelInstance {
    const blocks = new MemoryBlocks(workspace.start, workspace.start + workspace.size, () => {
      throw new RangeError(`The workspace of ${workspace.size} bytes is too small for this call.`);
    });
    return new KernelInstance(memory, blocks, Math.floor(workspace.size / 128));
  }

  /** @throws RangeError when the kernels' memory of 4 GiB is used up */
  take(bytes: number): MemoryBlock {
    return this.blocks.take(bytes);
  }

  give(block: MemoryBlock): void {
    this.blocks.give(block);
  }

  freeBytes(): number {
    return this.blocks.freeBytes();
  }

  /** Runs `work` with blocks of the given sizes, and takes them back whatever happens. */
  borrow<T>(sizes: readonly number[], work: (...starts: number[]) => T): T {
    const taken: MemoryBlock[] = [];
    try {
      for (const size of sizes) taken.push(this.take(size));
      return work(...taken.map((block) => block.start));
    } finally {
      for (const block of taken) this.give(block);
    }
  }

  float32(start: number, length: number): Float32Array {
    return new Float32Array(this.memory.buffer, start, length);
  }

  int32(start: number, length: number): Int32Array {
    return new Int32Array(this.memory.buffer, start, length);
  }

  uint32(start: number, length: number): Uint32Array {
    return new Uint32Array(this.memory.buffer, start, length);
  }
}

function growTo(memory: SharedMemory, end: number): void {
  const have = memory.buffer.byteLength / PAGE;
  const need = Math.ceil(end / PAGE);
  if (need <= have) return;
  if (need > MAXIMUM_PAGES) throw memoryFull(end);
  try {
    // An eighth more than needed, so that many small indices do not grow the memory each time.
    memory.grow(Math.min(MAXIMUM_PAGES - have, need - have + (need >> 3)));
  } catch {
    try {
      memory.grow(need - have);
    } catch {
      throw memoryFull(end);
    }
  }
}

function memoryFull(end: number): RangeError {
  return new RangeError(
    `The kernels' memory cannot grow to ${Math.ceil(end / 2 ** 20)} MiB; split the data into tiles and dispose of indices that are no longer needed.`,
  );
}
