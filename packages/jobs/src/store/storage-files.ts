import { mkdir, open, readdir, readFile, rename, rm, stat } from 'node:fs/promises';
import { dirname } from 'node:path';
import { AppError } from '@lapjoint/engine';

/**
 * The few things a job does to the disk. Everything a job writes goes through here, so that tests can make each of
 * them fail. Every write is on the disk (fsync) when its promise resolves.
 */
export interface StorageFiles {
  ensureFolder(path: string): Promise<void>;
  /** Writes a file that must not exist yet. */
  writeNew(path: string, chunks: Iterable<Uint8Array> | AsyncIterable<Uint8Array>): Promise<void>;
  /** Writes bytes at a position of an existing file, growing it. */
  writeAt(path: string, position: number, bytes: Uint8Array): Promise<void>;
  truncate(path: string, byteLength: number): Promise<void>;
  rename(from: string, to: string): Promise<void>;
  /** Makes names in a folder durable. */
  syncFolder(path: string): Promise<void>;
  /** Removes a file or folder; not there is fine. */
  remove(path: string): Promise<void>;
  /** Whole file, or null when it does not exist. */
  read(path: string): Promise<Uint8Array | null>;
  /** Names in a folder in alphabetic order; empty when it does not exist. */
  list(path: string): Promise<string[]>;
  /** Size of a file, or null when it does not exist. */
  byteLength(path: string): Promise<number | null>;
}

function codeOf(error: unknown): string {
  return typeof error === 'object' && error !== null && 'code' in error ? String(error.code) : '';
}

/** Turns an error of the operating system into one that says what to do. Others pass unchanged. */
export function storageError(error: unknown, path: string): unknown {
  const code = codeOf(error);
  if (error instanceof AppError || code === '') return error;
  if (code === 'ENOSPC' || code === 'EDQUOT' || code === 'EFBIG') {
    return new AppError(
      'disk-full',
      `There is no room left on the disk to write ${path}.`,
      'Free some space and run the command again. The job is as it was before.',
      { cause: error },
    );
  }
  if (code === 'EACCES' || code === 'EPERM' || code === 'EROFS') {
    return new AppError(
      'no-rights',
      `The rights to read or write ${path} are missing.`,
      'Ask for the rights to this file or folder, or work in another folder.',
      { cause: error },
    );
  }
  return new AppError('storage-failed', `The disk did not do what was asked: ${path} (${code}).`, 'Check the disk.', {
    cause: error,
  });
}

async function guarded<T>(path: string, action: () => Promise<T>): Promise<T> {
  try {
    return await action();
  } catch (error) {
    throw storageError(error, path);
  }
}

async function nullWhenMissing<T>(path: string, action: () => Promise<T>): Promise<T | null> {
  try {
    return await action();
  } catch (error) {
    const code = codeOf(error);
    if (code === 'ENOENT' || code === 'ENOTDIR') return null;
    throw storageError(error, path);
  }
}

/** The real disk. */
export const NODE_STORAGE_FILES: StorageFiles = {
  ensureFolder: (path) =>
    guarded(path, async () => {
      await mkdir(path, { recursive: true });
    }),
  writeNew: (path, chunks) =>
    guarded(path, async () => {
      const file = await open(path, 'wx');
      try {
        for await (const chunk of chunks) {
          for (let done = 0; done < chunk.byteLength; ) {
            done += (await file.write(chunk, done)).bytesWritten;
          }
        }
        await file.sync();
      } finally {
        await file.close();
      }
    }),
  writeAt: (path, position, bytes) =>
    guarded(path, async () => {
      const file = await open(path, 'r+');
      try {
        for (let done = 0; done < bytes.byteLength; ) {
          done += (await file.write(bytes, done, bytes.byteLength - done, position + done)).bytesWritten;
        }
        await file.sync();
      } finally {
        await file.close();
      }
    }),
  truncate: (path, byteLength) =>
    guarded(path, async () => {
      const file = await open(path, 'r+');
      try {
        await file.truncate(byteLength);
        await file.sync();
      } finally {
        await file.close();
      }
    }),
  rename: (from, to) => guarded(to, () => rename(from, to)),
  syncFolder: (path) =>
    guarded(path, async () => {
      // Windows cannot open a folder; its rename is journalled by the file system.
      if (process.platform === 'win32') return;
      const folder = await open(path, 'r');
      try {
        await folder.sync();
      } finally {
        await folder.close();
      }
    }),
  remove: (path) => guarded(path, () => rm(path, { recursive: true, force: true })),
  read: (path) => nullWhenMissing(path, () => readFile(path)),
  list: async (path) => ((await nullWhenMissing(path, () => readdir(path))) ?? []).sort(),
  byteLength: async (path) => (await nullWhenMissing(path, () => stat(path)))?.size ?? null,
};

/**
 * Writes a file as a whole or not at all: temporary name beside it, fsync, rename, fsync of the folder.
 *
 * @param temporaryPath on the same disk as `path`
 */
export async function writeWhole(
  files: StorageFiles,
  path: string,
  temporaryPath: string,
  chunks: Iterable<Uint8Array> | AsyncIterable<Uint8Array>,
): Promise<void> {
  try {
    await files.writeNew(temporaryPath, chunks);
    await files.rename(temporaryPath, path);
  } catch (error) {
    await files.remove(temporaryPath).catch(() => undefined);
    throw error;
  }
  await files.syncFolder(dirname(path));
}
