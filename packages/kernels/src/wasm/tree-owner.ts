import type { KernelInstance } from './kernel-instance.ts';
import type { MemoryBlock } from './memory-blocks.ts';

interface Held {
  readonly instance: KernelInstance;
  readonly block: MemoryBlock;
}

/** Frees trees whose index was dropped without `dispose`: a safety net, as late as the garbage collector. */
const dropped: FinalizationRegistry<Held> = new FinalizationRegistry((held) => held.instance.give(held.block));

/** Notes that a tree belongs to an index. */
export function ownTree(owner: object, instance: KernelInstance, block: MemoryBlock): void {
  dropped.register(owner, { instance, block }, owner);
}

/** Frees the tree of an index now. */
export function freeTree(owner: object, instance: KernelInstance, block: MemoryBlock): void {
  dropped.unregister(owner);
  instance.give(block);
}
