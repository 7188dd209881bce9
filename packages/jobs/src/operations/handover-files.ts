import { createHash } from 'node:crypto';
import { open } from 'node:fs/promises';
import { join } from 'node:path';
import type { ByteSink } from '@lapjoint/engine';
import { storageError } from '../store/storage-files.ts';

/** A file of a handover, as its manifest lists it. */
export interface HandoverFile {
  readonly name: string;
  readonly content: string;
  readonly byteLength: number;
  readonly sha256: string;
}

/**
 * Writes one file of a handover piece by piece, forces it to the disk and hashes it on the way.
 *
 * @param content what the file holds, in words
 * @throws AppError `disk-full`, `no-rights`
 */
export async function writeHandoverFile(
  folder: string,
  name: string,
  content: string,
  write: (sink: ByteSink) => Promise<unknown>,
): Promise<HandoverFile> {
  const path = join(folder, name);
  const hash = createHash('sha256');
  let byteLength = 0;
  try {
    const file = await open(path, 'wx');
    try {
      await write(async (chunk) => {
        hash.update(chunk);
        byteLength += chunk.byteLength;
        for (let done = 0; done < chunk.byteLength; ) {
          done += (await file.write(chunk, done, chunk.byteLength - done)).bytesWritten;
        }
      });
      await file.sync();
    } finally {
      await file.close();
    }
  } catch (error) {
    throw storageError(error, path);
  }
  return { name, content, byteLength, sha256: hash.digest('hex') };
}

/** Writes a file whose content is at hand. */
export function writeHandoverText(folder: string, name: string, content: string, text: string): Promise<HandoverFile> {
  return writeHandoverFile(folder, name, content, (sink) => sink(new TextEncoder().encode(text)));
}

/** JSON as it is handed over: indented, with a newline at the end. */
export function jsonText(value: unknown): string {
  return `${JSON.stringify(value, null, 2)}\n`;
}
