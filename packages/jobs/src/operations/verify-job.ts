import { resolve } from 'node:path';
import { blobsOfJobDocument, type Finding, type JobDocument, type RunContext, type SourceFile } from '@lapjoint/engine';
import { type BlobState, BlobStore } from '../store/blob-store.ts';
import { replayJournal } from '../store/job-history.ts';
import { inspectJournal, openJob } from '../store/job-store.ts';
import { NODE_STORAGE_FILES } from '../store/storage-files.ts';
import { contextOf, type OperationHost } from './change-job.ts';
import { hashFile } from './hash-file.ts';
import { STANDARD_INPUT } from './spool-input.ts';

/** A blob that a job refers to. */
export interface BlobReport {
  readonly sha256: string;
  /** What it holds, in words. */
  readonly holds: string;
  readonly state: BlobState;
}

/** A file that was added to a job. `changed`: other content than when it was added. */
export interface SourceReport {
  readonly path: string;
  readonly state: 'intact' | 'missing' | 'changed';
}

/** What `verify` found. */
export interface VerifyReport {
  /** Journal and all blobs intact: the job can be used. Source files do not count, the job holds their points. */
  readonly intact: boolean;
  readonly journal: {
    readonly entryCount: number;
    readonly tornByteLength: number;
    readonly damage: { readonly line: number; readonly reason: string } | null;
  };
  readonly blobs: readonly BlobReport[];
  readonly sources: readonly SourceReport[];
  /** Files written by `report` and `handover` that are missing or were changed since are listed here. */
  readonly exports: readonly SourceReport[];
  /** Blobs on the disk that nothing in force refers to: undone work, or the rest of a stopped command. Harmless. */
  readonly unusedBlobCount: number;
  /** Warnings about files of the user: they do not touch the job, which holds the points itself. */
  readonly findings: readonly Finding[];
}

function contentOf(document: JobDocument, sha256: string): string {
  const scan = document.scans.find((item) => item.dataSha256 === sha256);
  if (scan !== undefined) return `points of ${scan.name} (${scan.id})`;
  if (document.alignment?.covarianceSha256 === sha256) return 'covariance of all frames';
  if (document.fused?.surfaceSha256 === sha256) return 'fused surface';
  return 'attributes of the fused surface';
}

async function stateOfFile(path: string, sha256: string, context: RunContext): Promise<SourceReport> {
  try {
    const now = await hashFile(path, context);
    return { path, state: now.sha256 === sha256 ? 'intact' : 'changed' };
  } catch (error) {
    await context.checkpoint();
    if (error instanceof Error && error.name === 'AbortError') throw error;
    return { path, state: 'missing' };
  }
}

function sourcesOf(document: JobDocument): SourceFile[] {
  const all = [...document.scans, ...document.targetLists, ...document.probeSets].map((item) => item.source);
  // What came from the standard input was never a file that could still be there.
  const files = all.filter((source) => source.path !== STANDARD_INPUT);
  return [...new Map(files.map((source) => [`${source.path} ${source.sha256}`, source])).values()];
}

function findingsOf(sources: readonly SourceReport[], exports: readonly SourceReport[]): Finding[] {
  const warning = (code: string, subject: string, message: string, remedy: string): Finding => ({
    severity: 'warning',
    code,
    subject,
    message,
    remedy,
  });
  const ofSource = ({ path, state }: SourceReport): Finding =>
    state === 'missing'
      ? warning(
          'source-missing',
          path,
          'The file that was added is no longer there. The job holds its points and stays whole.',
          'Put it back if it is needed for the record.',
        )
      : warning(
          'source-changed',
          path,
          'The file holds something else than when it was added. The job holds what it was then.',
          'Add it again if the new content is meant.',
        );
  const ofExport = ({ path, state }: SourceReport): Finding =>
    state === 'missing'
      ? warning(
          'export-missing',
          path,
          'A file that this job wrote is no longer there.',
          'Write it again if it is needed.',
        )
      : warning(
          'export-changed',
          path,
          'A file that this job wrote was changed since.',
          'Write it again before it is passed on.',
        );
  const moved = (file: SourceReport): boolean => file.state !== 'intact';
  return [...sources.filter(moved).map(ofSource), ...exports.filter(moved).map(ofExport)];
}

/**
 * Recomputes every hash of a job and says what is missing or changed; also whether the user's own files are still
 * where they were and as they were. Needs no lock and changes nothing.
 *
 * With a damaged journal, what its intact beginning refers to is checked.
 *
 * @throws AppError `not-a-job`, `job-newer`, `no-rights`
 */
export async function verifyJob(folder: string, host: Omit<OperationHost, 'runner'>): Promise<VerifyReport> {
  const { storage } = host;
  const context = contextOf(host, 1);
  const journal = await inspectJournal(folder, storage);
  const { document } = replayJournal(journal.entries);
  const store = journal.damage === null ? await openJob(folder, storage) : null;
  const blobStore = new BlobStore(resolve(folder), storage?.files ?? NODE_STORAGE_FILES);
  const names = blobsOfJobDocument(document);
  const sources = sourcesOf(document);
  const exported = [...(store?.exportedFiles() ?? new Map<string, string>())];
  const steps = names.length + sources.length + exported.length;
  let step = 0;
  const blobs: BlobReport[] = [];
  for (const sha256 of names) {
    blobs.push({ sha256, holds: contentOf(document, sha256), state: await blobStore.state(sha256) });
    await context.checkpoint(++step / steps, 'stored points');
  }
  const sourceReports: SourceReport[] = [];
  for (const source of sources) {
    sourceReports.push(await stateOfFile(source.path, source.sha256, context.part(step / steps, (step + 1) / steps)));
    step++;
  }
  const exports: SourceReport[] = [];
  for (const [path, sha256] of exported) {
    exports.push(await stateOfFile(path, sha256, context.part(step / steps, (step + 1) / steps)));
    step++;
  }
  const used = new Set(names);
  return {
    intact: journal.damage === null && blobs.every((blob) => blob.state === 'intact'),
    journal: {
      entryCount: journal.entries.length,
      tornByteLength: journal.tornByteLength,
      damage: journal.damage,
    },
    blobs,
    sources: sourceReports,
    exports,
    findings: findingsOf(sourceReports, exports),
    unusedBlobCount: (await blobStore.list()).filter((name) => !used.has(name)).length,
  };
}
