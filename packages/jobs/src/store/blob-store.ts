import { createHash } from 'node:crypto';
import { join } from 'node:path';
import { AppError } from '@lapjoint/engine';
import { type StorageFiles, writeWhole } from './storage-files.ts';

/** SHA-256 of bytes given in pieces, 64 hexadecimal digits. */
export function sha256Of(chunks: Iterable<Uint8Array>): string {
  const hash = createHash('sha256');
  for (const chunk of chunks) hash.update(chunk);
  return hash.digest('hex');
}

/** How a stored blob stands: as it was written, gone, or with other bytes than its name says. */
export type BlobState = 'intact' | 'missing' | 'changed';

/**
 * Files named by the SHA-256 of what is in them: `blobs/ab/cdef...`. Written once, never changed.
 *
 * A blob is under its name only when all of it is on the disk; equal content is stored once.
 */
export class BlobStore {
  readonly #folder: string;
  readonly #temporaryFolder: string;
  readonly #files: StorageFiles;
  #counter = 0;

  constructor(jobFolder: string, files: StorageFiles) {
    this.#folder = join(jobFolder, 'blobs');
    this.#temporaryFolder = join(jobFolder, 'temporary');
    this.#files = files;
  }

  pathOf(sha256: string): string {
    if (!/^[0-9a-f]{64}$/.test(sha256)) throw new RangeError('A blob is named by 64 hexadecimal digits.');
    return join(this.#folder, sha256.slice(0, 2), sha256.slice(2));
  }

  /** Stores bytes and returns their name. */
  async put(chunks: readonly Uint8Array[]): Promise<string> {
    const sha256 = sha256Of(chunks);
    const path = this.pathOf(sha256);
    // A damaged copy is replaced, so that storing the same content again heals it.
    if ((await this.state(sha256)) === 'intact') return sha256;
    const folder = join(this.#folder, sha256.slice(0, 2));
    await this.#files.ensureFolder(folder);
    await this.#files.syncFolder(this.#folder);
    await this.#files.ensureFolder(this.#temporaryFolder);
    const temporary = join(this.#temporaryFolder, `${sha256}.${process.pid}.${this.#counter++}`);
    await writeWhole(this.#files, path, temporary, chunks);
    return sha256;
  }

  /**
   * Reads a blob and proves that it is what was stored.
   *
   * @throws AppError `blob-missing`, `blob-changed`
   */
  async get(sha256: string): Promise<Uint8Array> {
    const bytes = await this.#files.read(this.pathOf(sha256));
    if (bytes === null) {
      throw new AppError(
        'blob-missing',
        `The job's file ${this.pathOf(sha256)} is missing.`,
        'Run verify to see what else is missing; put the file back from a copy of the job, or add the source file again.',
      );
    }
    if (sha256Of([bytes]) !== sha256) {
      throw new AppError(
        'blob-changed',
        `The job's file ${this.pathOf(sha256)} is not what was stored: its bytes have changed.`,
        'Run verify; put the file back from a copy of the job. Check the disk.',
      );
    }
    return bytes;
  }

  async state(sha256: string): Promise<BlobState> {
    const bytes = await this.#files.read(this.pathOf(sha256));
    if (bytes === null) return 'missing';
    return sha256Of([bytes]) === sha256 ? 'intact' : 'changed';
  }

  /** Names of all blobs on the disk. */
  async list(): Promise<string[]> {
    const names: string[] = [];
    for (const start of await this.#files.list(this.#folder)) {
      for (const rest of await this.#files.list(join(this.#folder, start))) names.push(start + rest);
    }
    return names.filter((name) => /^[0-9a-f]{64}$/.test(name));
  }

  /** Removes what a killed program left half written. Call only while holding the writer's claim. */
  async clearTemporary(): Promise<void> {
    for (const name of await this.#files.list(this.#temporaryFolder)) {
      await this.#files.remove(join(this.#temporaryFolder, name));
    }
  }
}
