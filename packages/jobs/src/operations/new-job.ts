import type { JobDocument } from '@lapjoint/engine';
import { createJob, type JobStoreOptions } from '../store/job-store.ts';

/** Settings of a new job. */
export interface NewJobOptions {
  /** The folder's name when left out. */
  readonly name?: string;
  /** Every random choice of the job derives from it; 1 when left out. */
  readonly seed?: number;
}

/**
 * Makes an empty job in a new folder.
 *
 * @throws AppError `job-exists`, `folder-not-empty`, `no-rights`, `disk-full`
 */
export async function newJob(
  folder: string,
  options: NewJobOptions = {},
  storage?: JobStoreOptions,
): Promise<JobDocument> {
  const store = await createJob(folder, options, storage);
  try {
    return store.document;
  } finally {
    await store.close();
  }
}
