import { dirname, join, resolve } from 'node:path';
import { AppError } from '@lapjoint/engine';
import { sha256Of } from '../store/blob-store.ts';
import type { JobStore } from '../store/job-store.ts';
import { writeWhole } from '../store/storage-files.ts';

/**
 * Refuses to write over a file that is not the job's own: one it wrote before and nobody changed since.
 *
 * @throws AppError `file-exists`
 */
export async function refuseOverwriting(store: JobStore, path: string, force: boolean): Promise<void> {
  if (force) return;
  const present = await store.files.read(resolve(path));
  if (present === null || store.exportedFiles().get(resolve(path)) === sha256Of([present])) return;
  throw new AppError(
    'file-exists',
    `${path} exists and would be overwritten.`,
    'Use --force if it may be, or give another name.',
  );
}

/**
 * Writes a file for the user, whole or not at all, and notes it in the journal.
 *
 * @throws AppError `file-exists`, `disk-full`, `no-rights`
 */
export async function writeExport(
  store: JobStore,
  path: string,
  content: Uint8Array,
  force: boolean,
  summary: string,
): Promise<void> {
  const target = resolve(path);
  await refuseOverwriting(store, target, force);
  const temporary = join(dirname(target), `.${process.pid}.part`);
  await writeWhole(store.files, target, temporary, [content]);
  await store.noteExport([{ path: target, sha256: sha256Of([content]) }], summary);
}
