import { mkdir, open, rename, rm } from 'node:fs/promises';
import { dirname } from 'node:path';
import type { ByteSink } from '@lapjoint/engine';

/**
 * Writes a file through a sink: to a temporary name, synced, then renamed, so that no half file is ever seen.
 *
 * @param write gets the sink and gives it everything
 */
export async function writeFileThrough(path: string, write: (sink: ByteSink) => Promise<unknown>): Promise<void> {
  await mkdir(dirname(path), { recursive: true });
  const temporary = `${path}.part`;
  const file = await open(temporary, 'w');
  try {
    await write(async (chunk) => {
      for (let at = 0; at < chunk.length; ) at += (await file.write(chunk, at)).bytesWritten;
    });
    await file.sync();
    await file.close();
    await rename(temporary, path);
  } catch (error) {
    await file.close().catch(() => undefined);
    await rm(temporary, { force: true });
    throw error;
  }
}

/** Writes a text. */
export function writeTextFile(path: string, text: string): Promise<void> {
  return writeFileThrough(path, (sink) => sink(new TextEncoder().encode(text)));
}
