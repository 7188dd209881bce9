import { availableParallelism } from 'node:os';
import type { Worker } from 'node:worker_threads';
import { AppError, CancelledError, type Finding, type RunContext, type TaskRunner } from '@lapjoint/engine';
import { startWorker } from './start-worker.ts';
import { unpackError } from './transferable-error.ts';
import type { TaskMessage, TaskOrder } from './worker-messages.ts';

/** Options of `WorkerPool`. */
export interface WorkerPoolOptions {
  /** Threads; the machine's cores, at most 16, when left out: every thread holds its own working memory. */
  readonly workerCount?: number;
  /** Module that exports `PIPELINE_TASKS`; the engine when left out. */
  readonly taskModule?: string;
}

/** How often the main thread looks whether it was asked to stop. */
const STOP_LOOK_MS = 40;
/** How long a task may take to notice the stop flag before its thread is ended. */
const STOP_GRACE_MS = 600;

type Outcome = { readonly output: unknown } | { readonly error: Error };

interface Order extends TaskOrder {
  readonly index: number;
  onProgress(fraction: number, note: string | undefined): void;
  finish(outcome: Outcome, findings: readonly Finding[]): void;
}

interface Slot {
  worker: Worker | null;
  current: Order | null;
}

/**
 * Runs pipeline tasks on worker threads.
 *
 * Repeats  outputs and findings come in the order of the inputs, whichever finishes first; of several errors the one of
 *          the lowest input is thrown. A task sees the same seed on every thread. So the number of workers changes
 *          nothing but the time.
 * Stop     a flag in shared memory that tasks read at their checkpoints; a thread that does not notice is ended.
 * Cost     inputs are copied to the thread, except arrays in shared buffers; large arrays of outputs come back shared.
 */
export class WorkerPool implements TaskRunner {
  readonly workerCount: number;
  readonly #taskModule: string;
  readonly #flagBuffer: SharedArrayBuffer;
  readonly #flags: Int32Array;
  readonly #slots: Slot[];
  readonly #waiting: Order[] = [];
  #nextOrder = 0;
  #closed = false;

  constructor(options: WorkerPoolOptions = {}) {
    this.workerCount = Math.max(1, Math.floor(options.workerCount ?? Math.min(16, availableParallelism())));
    this.#taskModule = options.taskModule ?? '@lapjoint/engine';
    this.#flagBuffer = new SharedArrayBuffer(4 * this.workerCount);
    this.#flags = new Int32Array(this.#flagBuffer);
    this.#slots = Array.from({ length: this.workerCount }, () => ({ worker: null, current: null }));
  }

  async run(task: string, inputs: readonly unknown[], context: RunContext): Promise<unknown[]> {
    if (this.#closed) throw new TypeError('The pool is closed.');
    if (context.signal.aborted) throw new CancelledError();
    if (inputs.length === 0) return [];
    const fractions = new Float64Array(inputs.length);
    const outcomes = new Array<Outcome>(inputs.length);
    const findings = new Array<readonly Finding[]>(inputs.length);
    const orders: Order[] = [];
    const report = (index: number, fraction: number, note?: string): void => {
      fractions[index] = Math.max(fractions[index] ?? 0, fraction);
      context.progress(fractions.reduce((sum, value) => sum + value, 0) / inputs.length, note);
    };
    let left = inputs.length;
    let look: NodeJS.Timeout | undefined;
    try {
      await new Promise<void>((resolve) => {
        look = setInterval(() => {
          if (context.signal.aborted) this.#stop(orders);
        }, STOP_LOOK_MS);
        inputs.forEach((input, index) => {
          orders.push({
            order: this.#nextOrder++,
            index,
            task,
            input,
            seed: context.seed,
            onProgress: (fraction, note) => report(index, fraction, note),
            finish: (outcome, found) => {
              outcomes[index] = outcome;
              findings[index] = found;
              report(index, 1);
              // What comes before a failed input runs on, so that the error thrown does not depend on timing.
              if ('error' in outcome) this.#stop(orders.filter((order) => order.index > index));
              left--;
              if (left === 0) resolve();
            },
          });
        });
        this.#waiting.push(...orders);
        this.#dispatch();
      });
    } finally {
      clearInterval(look);
    }
    for (const list of findings) for (const finding of list) context.findings.add(finding);
    const errors = outcomes.flatMap((outcome) => ('error' in outcome ? [outcome.error] : []));
    if (context.signal.aborted) throw new CancelledError();
    const failure = errors.find((error) => !(error instanceof CancelledError)) ?? errors[0];
    if (failure !== undefined) throw failure;
    return outcomes.map((outcome) => ('output' in outcome ? outcome.output : undefined));
  }

  /** Ends all threads. Tasks under way are lost. */
  async close(): Promise<void> {
    this.#closed = true;
    await Promise.all(this.#slots.map((slot) => slot.worker?.terminate()));
  }

  #dispatch(): void {
    for (let slot = 0; slot < this.#slots.length; slot++) {
      const { current } = this.#slots[slot] as Slot;
      if (current !== null) continue;
      const order = this.#waiting.shift();
      if (order === undefined) return;
      this.#give(slot, order);
    }
  }

  #give(index: number, order: Order): void {
    const slot = this.#slots[index] as Slot;
    slot.current = order;
    Atomics.store(this.#flags, index, 0);
    try {
      slot.worker ??= this.#start(index);
      slot.worker.ref();
      const { order: number, task, input, seed } = order;
      slot.worker.postMessage({ order: number, task, input, seed } satisfies TaskOrder);
    } catch (error) {
      this.#finish(index, { error: error as Error }, []);
    }
  }

  #start(index: number): Worker {
    const worker = startWorker({ stopFlags: this.#flagBuffer, slot: index, taskModule: this.#taskModule });
    worker.on('message', (message: TaskMessage) => {
      const current = this.#slots[index]?.current;
      if (!current || current.order !== message.order) return;
      if (message.kind === 'progress') current.onProgress(message.fraction, message.note);
      else if (message.kind === 'done') this.#finish(index, { output: message.output }, message.findings);
      else this.#finish(index, { error: unpackError(message.error) }, message.findings);
    });
    const lost = (cause: unknown): void => {
      const slot = this.#slots[index] as Slot;
      if (slot.worker !== worker) return;
      slot.worker = null;
      if (slot.current === null) return;
      const error = new AppError(
        'worker-lost',
        `A thread ended in the middle of its work (${cause instanceof Error ? cause.message : String(cause)}).`,
        'Most often memory ran out: use fewer workers or thinner scans.',
        { cause },
      );
      this.#finish(index, { error }, []);
    };
    worker.on('error', lost);
    worker.on('exit', (code) => lost(`exit ${code}`));
    return worker;
  }

  #finish(index: number, outcome: Outcome, findings: readonly Finding[]): void {
    const slot = this.#slots[index] as Slot;
    const order = slot.current;
    slot.current = null;
    slot.worker?.unref();
    order?.finish(outcome, findings);
    this.#dispatch();
  }

  /** Asks orders to stop: those waiting never start, those running see the flag, or lose their thread. */
  #stop(orders: readonly Order[]): void {
    for (const order of orders) {
      const waiting = this.#waiting.indexOf(order);
      if (waiting >= 0) {
        this.#waiting.splice(waiting, 1);
        order.finish({ error: new CancelledError() }, []);
      }
    }
    this.#slots.forEach((slot, index) => {
      const order = slot.current;
      if (order === null || !orders.includes(order) || Atomics.exchange(this.#flags, index, 1) === 1) return;
      setTimeout(() => {
        if (slot.current !== order) return;
        const worker = slot.worker;
        slot.worker = null;
        void worker?.terminate();
        this.#finish(index, { error: new CancelledError() }, []);
      }, STOP_GRACE_MS);
    });
  }
}
