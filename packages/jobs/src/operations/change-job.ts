import type { CancelSignal, RunContext, TaskRunner, TextCatalogue } from '@lapjoint/engine';
import { makeNodeRunContext } from '../node-run-context.ts';
import { type JobStore, type JobStoreOptions, openJobForWriting } from '../store/job-store.ts';

/** What an operation runs with. */
export interface OperationHost {
  readonly runner: TaskRunner;
  readonly signal?: CancelSignal;
  readonly onProgress?: (fraction: number, note: string | undefined) => void;
  readonly storage?: JobStoreOptions;
  /** Bytes of the standard input, for the file name `-`; null or left out when there are none to come. */
  readonly input?: AsyncIterable<Uint8Array> | null;
  /** Language of the report; English when left out. Stored results are always English. */
  readonly catalogue?: TextCatalogue | null;
}

/** A run context with the seed of the job and a new list of findings. */
export function contextOf(host: Omit<OperationHost, 'runner'>, seed: number): RunContext {
  return makeNodeRunContext({
    seed,
    ...(host.signal === undefined ? {} : { signal: host.signal }),
    ...(host.onProgress === undefined ? {} : { onProgress: host.onProgress }),
  });
}

/** Opens a job for writing, does something with it and closes it, whatever happens. */
export async function changeJob<T>(
  folder: string,
  storage: JobStoreOptions | undefined,
  action: (store: JobStore) => Promise<T>,
): Promise<T> {
  const store = await openJobForWriting(folder, storage);
  try {
    return await action(store);
  } finally {
    await store.close();
  }
}
