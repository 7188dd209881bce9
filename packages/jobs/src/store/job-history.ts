import { AppError, applyJobChange, EMPTY_JOB_DOCUMENT, JOB_SCHEMA_VERSION, type JobDocument } from '@lapjoint/engine';
import type { JournalEntry } from './journal.ts';

type ChangeEntry = JournalEntry & { readonly kind: 'change' };

/** What a journal amounts to: the changes in force, those undone, and the document they make. */
export interface JobHistory {
  readonly document: JobDocument;
  /** Changes in force, oldest first. */
  readonly done: readonly ChangeEntry[];
  /** Changes that `redo` would bring back, the next one last. */
  readonly undone: readonly ChangeEntry[];
}

const KNOWN_CHANGES: ReadonlySet<string> = new Set(['created', 'added', 'tied', 'aligned', 'fused']);

/**
 * Replays a journal: a new change ends what could be redone; undo and redo move the last change from one side to the
 * other. The first change, the making of the job, stays.
 *
 * @throws AppError `job-newer` when the journal has entries that this version does not know; `journal-damaged` when
 *         an undo or redo does not name the change whose turn it is
 */
export function replayJournal(entries: readonly JournalEntry[]): JobHistory {
  const done: ChangeEntry[] = [];
  let undone: ChangeEntry[] = [];
  for (const entry of entries) {
    switch (entry.kind) {
      case 'change':
        if (
          !KNOWN_CHANGES.has(entry.change.kind) ||
          (entry.change.kind === 'created' && entry.change.schemaVersion > JOB_SCHEMA_VERSION)
        ) {
          throw newerJob();
        }
        done.push(entry);
        undone = [];
        break;
      case 'undo':
      case 'redo': {
        const from = entry.kind === 'undo' ? done : undone;
        const to = entry.kind === 'undo' ? undone : done;
        const moved = from.pop();
        if (moved === undefined || moved.sequence !== entry.target) {
          throw new AppError(
            'journal-damaged',
            `Journal line ${entry.sequence}: ${entry.kind} of change ${entry.target}, whose turn it is not.`,
            'Run verify, and put the journal back from a copy of the job.',
          );
        }
        to.push(moved);
        break;
      }
      case 'export':
        break;
      default:
        throw newerJob();
    }
  }
  return {
    document: done.reduce((document, entry) => applyJobChange(document, entry.change), EMPTY_JOB_DOCUMENT),
    done,
    undone,
  };
}

function newerJob(): AppError {
  return new AppError(
    'job-newer',
    'This job was written by a newer version of the program.',
    'Use that version or a later one. The job was not changed.',
  );
}
