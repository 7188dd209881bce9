import { type FileHandle, open } from 'node:fs/promises';
import { basename } from 'node:path';
import type { ByteSource } from '@lapjoint/engine';

/** A file as a source of bytes. Close it when it is read. */
export interface FileByteSource extends ByteSource {
  readonly size: number;
  close(): Promise<void>;
}

/**
 * Opens a file for reading in pieces; nothing of it is kept in memory.
 *
 * @throws the error of the platform (`ENOENT`, `EACCES`, `EISDIR`) when the file cannot be opened
 */
export async function openByteSource(path: string): Promise<FileByteSource> {
  const handle: FileHandle = await open(path, 'r');
  try {
    const status = await handle.stat();
    if (status.isDirectory()) {
      throw Object.assign(new Error(`EISDIR: ${path} is a directory`), { code: 'EISDIR', path });
    }
    return {
      name: basename(path),
      size: status.size,
      read: async (position, target) => (await handle.read(target, 0, target.length, position)).bytesRead,
      close: () => handle.close(),
    };
  } catch (error) {
    await handle.close();
    throw error;
  }
}
