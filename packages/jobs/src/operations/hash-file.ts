import { createHash } from 'node:crypto';
import { createReadStream } from 'node:fs';
import { stat } from 'node:fs/promises';
import { basename, resolve } from 'node:path';
import { CancelledError, FormatError, type RunContext, type SourceFile } from '@lapjoint/engine';

/** An error of the operating system about an input file, in words and with exit code 3. Others pass unchanged. */
export function inputFileError(error: unknown, path: string): unknown {
  const code = typeof error === 'object' && error !== null && 'code' in error ? String(error.code) : '';
  if (error instanceof FormatError || error instanceof CancelledError || !/^E[A-Z0-9]+$/.test(code)) return error;
  const reasons: Readonly<Record<string, readonly [string, string, string]>> = {
    ENOENT: ['file-missing', 'The file does not exist', 'Check the name and the folder.'],
    ENOTDIR: ['file-missing', 'The file does not exist', 'Check the name and the folder.'],
    EISDIR: ['file-is-folder', 'This is a folder, not a file', 'Name the files in it.'],
    EACCES: ['file-no-rights', 'The rights to read the file are missing', 'Ask for the rights to read it.'],
    EPERM: ['file-no-rights', 'The rights to read the file are missing', 'Ask for the rights to read it.'],
  };
  const [name, message, hint] = reasons[code] ?? [
    'file-unreadable',
    `The file cannot be read (${code})`,
    'Check the disk or the connection and try again.',
  ];
  return new FormatError(name, `${message}: ${path}`, hint, { file: path }, { cause: error });
}

/**
 * Size and SHA-256 of a user's file, read in pieces.
 *
 * @throws FormatError `file-missing`, `file-is-folder`, `file-no-rights`, `file-unreadable`
 */
export async function hashFile(path: string, context?: RunContext): Promise<SourceFile> {
  try {
    const { size } = await stat(path);
    const hash = createHash('sha256');
    let byteLength = 0;
    for await (const chunk of createReadStream(path, { highWaterMark: 1 << 20 })) {
      hash.update(chunk as Buffer);
      byteLength += (chunk as Buffer).length;
      await context?.checkpoint(size > 0 ? Math.min(1, byteLength / size) : 1);
    }
    return { path: resolve(path), name: basename(path), byteLength, sha256: hash.digest('hex') };
  } catch (error) {
    throw inputFileError(error, path);
  }
}
