import type { JobStoreOptions } from '../store/job-store.ts';
import { changeJob } from './change-job.ts';

/** What was taken back or brought back. */
export interface UndoResult {
  /** The change, in words. */
  readonly change: string;
  /** The change that `undo` would take back next, in words; null when there is none. */
  readonly nextUndo: string | null;
  /** The change that `redo` would bring back next, in words; null when there is none. */
  readonly nextRedo: string | null;
}

/**
 * Takes back the last change of a job, or brings back the one taken back last. Blobs stay, so nothing is lost.
 *
 * @throws AppError `nothing-to-undo`, `nothing-to-redo`, and those of opening
 */
export async function undoChange(
  folder: string,
  direction: 'undo' | 'redo',
  storage?: JobStoreOptions,
): Promise<UndoResult> {
  return changeJob(folder, storage, async (store) => {
    const change = direction === 'undo' ? await store.undo() : await store.redo();
    const { done, undone } = store.history;
    const last = done.at(-1);
    return {
      change,
      nextUndo: last === undefined || last.change.kind === 'created' ? null : last.summary,
      nextRedo: undone.at(-1)?.summary ?? null,
    };
  });
}
