import { basename, join, resolve } from 'node:path';
import { AppError, JOB_SCHEMA_VERSION, type JobChange, type JobDocument } from '@lapjoint/engine';
import { BlobStore } from './blob-store.ts';
import { type JobHistory, replayJournal } from './job-history.ts';
import { type ExportedFile, type JournalContent, type JournalEntry, JournalWriter, parseJournal } from './journal.ts';
import { NODE_STORAGE_FILES, type StorageFiles, writeWhole } from './storage-files.ts';
import { claimWriting, type WriterClaim } from './writer-claim.ts';

/** Name of the file that makes a folder a job. Written last when a job is made. */
export const JOB_MARKER = 'job.json';
const JOURNAL = 'journal.jsonl';
const WRITERS = 'writers';
const OWN_NAMES: ReadonlySet<string> = new Set(['blobs', 'temporary', WRITERS, JOURNAL]);

/** Where to find the disk, and the clock for the times in the log. */
export interface JobStoreOptions {
  readonly files?: StorageFiles;
  readonly now?: () => Date;
}

type EntryBody =
  | { readonly kind: 'change'; readonly change: JobChange }
  | { readonly kind: 'undo'; readonly target: number }
  | { readonly kind: 'redo'; readonly target: number }
  | { readonly kind: 'export'; readonly files: readonly ExportedFile[] };

/**
 * A job on the disk. Reading needs no lock; writing needs the claim that `openJobForWriting` takes.
 *
 * The state is what the journal says; a blob counts only when a journal entry names it. So a program that is killed
 * at any moment leaves the job as it was after its last finished entry.
 */
export class JobStore {
  readonly folder: string;
  readonly blobs: BlobStore;
  readonly #files: StorageFiles;
  readonly #now: () => Date;
  #claim: WriterClaim | null = null;
  #writer: JournalWriter | null = null;
  #entries: JournalEntry[];
  #history: JobHistory;
  readonly tornByteLength: number;

  constructor(folder: string, content: JournalContent, options: JobStoreOptions, claim: WriterClaim | null) {
    this.folder = folder;
    this.#files = options.files ?? NODE_STORAGE_FILES;
    this.#now = options.now ?? (() => new Date());
    this.blobs = new BlobStore(folder, this.#files);
    this.#entries = [...content.entries];
    this.#history = replayJournal(this.#entries);
    this.tornByteLength = content.tornByteLength;
    if (claim !== null) {
      this.#claim = claim;
      this.#writer = new JournalWriter(join(folder, JOURNAL), this.#files, content);
    }
  }

  get files(): StorageFiles {
    return this.#files;
  }

  get document(): JobDocument {
    return this.#history.document;
  }

  get history(): JobHistory {
    return this.#history;
  }

  get entries(): readonly JournalEntry[] {
    return this.#entries;
  }

  /** Files that the job wrote for the user, the latest hash of each path. */
  exportedFiles(): ReadonlyMap<string, string> {
    const exported = new Map<string, string>();
    for (const entry of this.#entries) {
      if (entry.kind === 'export') for (const file of entry.files) exported.set(file.path, file.sha256);
    }
    return exported;
  }

  /** Writes a change to the journal. All blobs it names must be stored before. */
  async commit(change: JobChange, summary: string): Promise<void> {
    await this.#append({ kind: 'change', change }, summary);
  }

  /** Notes files written outside the job's own state, such as a report. Not undone by `undo`. */
  async noteExport(files: readonly ExportedFile[], summary: string): Promise<void> {
    await this.#append({ kind: 'export', files }, summary);
  }

  /**
   * Takes back the last change.
   *
   * @returns what was taken back, in words
   * @throws AppError `nothing-to-undo`
   */
  async undo(): Promise<string> {
    const last = this.#history.done.at(-1);
    if (last === undefined || last.change.kind === 'created') {
      throw new AppError('nothing-to-undo', 'There is nothing to undo in this job.', 'See the history with log.');
    }
    await this.#append({ kind: 'undo', target: last.sequence }, `undo: ${last.summary}`);
    return last.summary;
  }

  /**
   * Brings back the change that was undone last.
   *
   * @returns what was brought back, in words
   * @throws AppError `nothing-to-redo`
   */
  async redo(): Promise<string> {
    const next = this.#history.undone.at(-1);
    if (next === undefined) {
      throw new AppError(
        'nothing-to-redo',
        'There is nothing to redo in this job.',
        'Only what was undone since the last change can be brought back. See the history with log.',
      );
    }
    await this.#append({ kind: 'redo', target: next.sequence }, `redo: ${next.summary}`);
    return next.summary;
  }

  /** Gives the right to write back. */
  async close(): Promise<void> {
    const claim = this.#claim;
    this.#claim = null;
    this.#writer = null;
    await claim?.release();
  }

  async #append(body: EntryBody, summary: string): Promise<void> {
    if (this.#writer === null) throw new TypeError('The job was opened for reading.');
    const entry: JournalEntry = {
      sequence: this.#entries.length + 1,
      time: this.#now().toISOString(),
      summary,
      ...body,
    };
    // Proves before writing that the entry can be replayed.
    const history = replayJournal([...this.#entries, entry]);
    await this.#writer.append(entry);
    this.#entries.push(entry);
    this.#history = history;
  }
}

async function readJournal(folder: string, files: StorageFiles): Promise<JournalContent> {
  const marker = await files.read(join(folder, JOB_MARKER));
  if (marker === null) {
    throw new AppError(
      'not-a-job',
      `${folder} is not a job folder.`,
      'Make a job with `new`, or give the folder that holds job.json.',
    );
  }
  const bytes = await files.read(join(folder, JOURNAL));
  const content = bytes === null ? null : parseJournal(bytes);
  if (content === null || (content.entries.length === 0 && content.damage === null)) {
    throw new AppError(
      'journal-damaged',
      `The journal ${join(folder, JOURNAL)} is ${bytes === null ? 'missing' : 'empty'}.`,
      'Put it back from a copy of the job. The scans themselves lie in the folder blobs and are not touched.',
    );
  }
  return content;
}

function refuseDamage(folder: string, content: JournalContent): void {
  if (content.damage === null) return;
  throw new AppError(
    'journal-damaged',
    `The journal ${join(folder, JOURNAL)} is damaged: line ${content.damage.line} ${content.damage.reason}.`,
    'Nothing was changed. Run verify to see what is intact, and put the journal back from a copy of the job.',
  );
}

/**
 * Reads the journal of a job without replaying it, damaged or not.
 *
 * @throws AppError `not-a-job`; `journal-damaged` when there is no journal at all
 */
export async function inspectJournal(folder: string, options: JobStoreOptions = {}): Promise<JournalContent> {
  return readJournal(resolve(folder), options.files ?? NODE_STORAGE_FILES);
}

/**
 * Opens a job for reading. No lock: a writer may work meanwhile; what is read is the state after its last finished
 * entry.
 *
 * @throws AppError `not-a-job`, `journal-damaged`, `job-newer`, `no-rights`
 */
export async function openJob(folder: string, options: JobStoreOptions = {}): Promise<JobStore> {
  const path = resolve(folder);
  const content = await readJournal(path, options.files ?? NODE_STORAGE_FILES);
  refuseDamage(path, content);
  return new JobStore(path, content, options, null);
}

/**
 * Opens a job for writing: takes the writer's claim, cuts off what a killed program left half written. Close it.
 *
 * @throws AppError `job-busy` and those of `openJob`
 */
export async function openJobForWriting(folder: string, options: JobStoreOptions = {}): Promise<JobStore> {
  const path = resolve(folder);
  const files = options.files ?? NODE_STORAGE_FILES;
  // Before the claim, so that no claim is left in a folder that is no job.
  refuseDamage(path, await readJournal(path, files));
  const claim = await claimWriting(join(path, WRITERS), files);
  try {
    const content = await readJournal(path, files);
    refuseDamage(path, content);
    const store = new JobStore(path, content, options, claim);
    await new JournalWriter(join(path, JOURNAL), files, content).dropTorn(content);
    await store.blobs.clearTemporary();
    return store;
  } catch (error) {
    await claim.release().catch(() => undefined);
    throw error;
  }
}

/**
 * Makes a job in a folder that does not exist or is empty, and opens it for writing. A folder left by a killed `new`
 * counts as empty.
 *
 * @throws AppError `job-exists`, `folder-not-empty`
 */
export async function createJob(
  folder: string,
  settings: { readonly name?: string; readonly seed?: number } = {},
  options: JobStoreOptions = {},
): Promise<JobStore> {
  const path = resolve(folder);
  const files = options.files ?? NODE_STORAGE_FILES;
  const present = await files.list(path);
  if (present.includes(JOB_MARKER)) {
    throw new AppError(
      'job-exists',
      `${folder} is a job already.`,
      'Give another name, or add to this job with `add`.',
    );
  }
  if (present.some((name) => !OWN_NAMES.has(name))) {
    throw new AppError(
      'folder-not-empty',
      `${folder} exists and holds other files.`,
      'Give the name of a folder that does not exist yet.',
    );
  }
  await files.ensureFolder(path);
  const claim = await claimWriting(join(path, WRITERS), files);
  try {
    for (const name of ['temporary', JOURNAL]) await files.remove(join(path, name));
    for (const name of ['blobs', 'temporary']) await files.ensureFolder(join(path, name));
    await files.writeNew(join(path, JOURNAL), []);
    await files.syncFolder(path);
    const store = new JobStore(path, parseJournal(new Uint8Array(0)), options, claim);
    const name = settings.name ?? basename(path);
    await store.commit(
      { kind: 'created', schemaVersion: JOB_SCHEMA_VERSION, name, seed: settings.seed ?? 1 },
      `new job ${name}`,
    );
    const marker = JSON.stringify({ format: 'lapjoint job', schemaVersion: JOB_SCHEMA_VERSION }) + '\n';
    await writeWhole(files, join(path, JOB_MARKER), join(path, 'temporary', JOB_MARKER), [
      new TextEncoder().encode(marker),
    ]);
    await files.syncFolder(resolve(path, '..')).catch(() => undefined);
    return store;
  } catch (error) {
    await claim.release().catch(() => undefined);
    throw error;
  }
}
