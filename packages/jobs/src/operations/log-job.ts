import { type JobStoreOptions, openJob } from '../store/job-store.ts';

/** One line of a job's history. */
export interface LogLine {
  readonly sequence: number;
  /** ISO 8601, UTC. */
  readonly time: string;
  readonly kind: 'change' | 'undo' | 'redo' | 'export';
  readonly summary: string;
  /** Of a change: `in force`, `undone` (redo brings it back) or `given up` (undone, then something else was done). */
  readonly state: 'in force' | 'undone' | 'given up' | null;
}

/**
 * The history of a job, oldest first.
 *
 * @throws AppError those of `openJob`
 */
export async function logJob(folder: string, storage?: JobStoreOptions): Promise<LogLine[]> {
  const store = await openJob(folder, storage);
  const done = new Set(store.history.done.map((entry) => entry.sequence));
  const undone = new Set(store.history.undone.map((entry) => entry.sequence));
  return store.entries.map(({ sequence, time, kind, summary }) => {
    const state = done.has(sequence) ? 'in force' : undone.has(sequence) ? 'undone' : 'given up';
    return { sequence, time, kind, summary, state: kind === 'change' ? state : null };
  });
}
