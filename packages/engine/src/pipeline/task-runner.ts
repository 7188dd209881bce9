import { CancelledError, type RunContext } from '../base/index.ts';

/** A pure step that can run on any thread: same input, same seed, same bits. */
export type PipelineTask = (input: never, context: RunContext) => Promise<unknown>;

/**
 * Runs many independent tasks, on one thread or several. Outputs come in the order of the inputs, whichever finishes
 * first, so that results do not depend on the number of workers.
 */
export interface TaskRunner {
  readonly workerCount: number;
  run(task: string, inputs: readonly unknown[], context: RunContext): Promise<unknown[]>;
}

/** Runs tasks one after the other on this thread. */
export function makeSerialRunner(tasks: Readonly<Record<string, PipelineTask>>): TaskRunner {
  return {
    workerCount: 1,
    run: async (name, inputs, context) => {
      const task = tasks[name];
      if (task === undefined) throw new RangeError(`There is no task ${name}.`);
      const outputs: unknown[] = [];
      for (let i = 0; i < inputs.length; i++) {
        if (context.signal.aborted) throw new CancelledError();
        outputs.push(await task(inputs[i] as never, context.part(i / inputs.length, (i + 1) / inputs.length)));
        await context.checkpoint((i + 1) / inputs.length);
      }
      return outputs;
    },
  };
}
