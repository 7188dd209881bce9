import type { MessagePort } from 'node:worker_threads';
import { FindingList, makeRunContext, type PipelineTask } from '@lapjoint/engine';
import { shareLargeArrays } from './shared-arrays.ts';
import { packError } from './transferable-error.ts';
import type { TaskMessage, TaskOrder, WorkerStart } from './worker-messages.ts';

/** More progress messages than this a second help nobody. */
const PROGRESS_INTERVAL_MS = 50;

/** Does the orders that come in through a port, one at a time, until the thread is ended. */
export async function serveTasks(port: MessagePort, start: WorkerStart): Promise<void> {
  const module = (await import(start.taskModule)) as { PIPELINE_TASKS: Readonly<Record<string, PipelineTask>> };
  const flags = new Int32Array(start.stopFlags);
  const signal = {
    get aborted(): boolean {
      return Atomics.load(flags, start.slot) !== 0;
    },
  };
  const send = (message: TaskMessage): void => port.postMessage(message);
  port.on('message', async ({ order, task, input, seed }: TaskOrder) => {
    const findings = new FindingList();
    let lastSent = 0;
    const context = makeRunContext({
      seed,
      signal,
      findings,
      onProgress: (fraction, note) => {
        const now = performance.now();
        if (now - lastSent < PROGRESS_INTERVAL_MS) return;
        lastSent = now;
        send({ kind: 'progress', order, fraction, note });
      },
    });
    try {
      const run = module.PIPELINE_TASKS[task];
      if (run === undefined) throw new RangeError(`There is no task ${task}.`);
      const output = await run(input as never, context);
      send({ kind: 'done', order, output: shareLargeArrays(output), findings: findings.items });
    } catch (error) {
      send({ kind: 'failed', order, error: packError(error), findings: findings.items });
    }
  });
}
