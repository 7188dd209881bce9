import { basename, join } from 'node:path';
import { AppError, CancelledError, type CancelSignal, FormatError, type SourceFile } from '@lapjoint/engine';
import type { JobStore } from '../store/job-store.ts';

/** The file name that stands for the standard input. A file of that name is `./-`. */
export const STANDARD_INPUT = '-';

/** How often a wait for bytes looks whether it was stopped. */
const LOOK_MS = 100;

/** Name of what comes from the standard input when none was given. It has no ending, so the content tells the format. */
const UNNAMED = 'standard-input';

/** A file of the command line as it is read, named and recorded. */
export interface InputFile {
  /** What was typed. */
  readonly typed: string;
  readonly name: string;
  /** Where its bytes are. */
  readonly path: string;
}

/**
 * Takes the standard input into the job's temporary folder where the command line says `-`, since reading needs to go back
 * and forth in it. Other files stay where they are. The folder is emptied when a program next starts to write.
 *
 * @param name for what comes from the standard input, with the ending of its format
 * @param bytes of the standard input; null when a person sits at a terminal, so that nothing would ever come
 * @throws AppError `wrong-usage`; FormatError `file-empty`; CancelledError; those of writing to the job
 */
export async function spoolInputs(
  store: JobStore,
  files: readonly string[],
  name: string | null,
  bytes: AsyncIterable<Uint8Array> | null,
  signal: CancelSignal,
): Promise<InputFile[]> {
  const count = files.filter((file) => file === STANDARD_INPUT).length;
  if (count > 1) {
    throw new AppError('wrong-usage', 'The standard input was named twice.', 'It can be read once: name - once.');
  }
  if (count === 0 && name !== null) {
    throw new AppError(
      'wrong-usage',
      'A name was given, but no file is read from the standard input.',
      'Files keep their own names; --name is for the file - only.',
    );
  }
  const all: InputFile[] = [];
  for (const typed of files) {
    if (typed !== STANDARD_INPUT) {
      all.push({ typed, name: basename(typed), path: typed });
      continue;
    }
    const chosen = basename(name ?? UNNAMED);
    all.push({ typed, name: chosen, path: await spool(store, bytes, chosen, signal) });
  }
  return all;
}

async function spool(
  store: JobStore,
  bytes: AsyncIterable<Uint8Array> | null,
  name: string,
  signal: CancelSignal,
): Promise<string> {
  if (bytes === null) {
    throw new AppError(
      'wrong-usage',
      'The standard input is a terminal: nobody sends a file there.',
      'Send it with a pipe or from a file, such as: lapjoint add JOB - --name scan.ply < scan.ply',
    );
  }
  const folder = join(store.folder, 'temporary', `input.${process.pid}`);
  await store.files.ensureFolder(folder);
  const path = join(folder, name);
  let byteLength = 0;
  async function* counted(): AsyncGenerator<Uint8Array> {
    for await (const chunk of stoppable(bytes as AsyncIterable<Uint8Array>, signal)) {
      byteLength += chunk.byteLength;
      yield chunk;
    }
  }
  await store.files.writeNew(path, counted());
  if (byteLength > 0) return path;
  throw new FormatError(
    'file-empty',
    'Nothing came from the standard input.',
    'See whether the command before the pipe wrote anything.',
    { file: STANDARD_INPUT },
  );
}

/** A stream that ends with CancelledError when it is stopped, even while nothing comes. */
async function* stoppable(bytes: AsyncIterable<Uint8Array>, signal: CancelSignal): AsyncGenerator<Uint8Array> {
  const source = bytes[Symbol.asyncIterator]();
  try {
    for (;;) {
      const next = source.next();
      let result: IteratorResult<Uint8Array> | null = null;
      while (result === null) {
        if (signal.aborted) throw new CancelledError();
        let timer: NodeJS.Timeout | undefined;
        const pause = new Promise<null>((resolve) => {
          timer = setTimeout(resolve, LOOK_MS, null);
        });
        result = await Promise.race([next, pause]);
        clearTimeout(timer);
      }
      if (result.done === true) return;
      yield result.value;
    }
  } finally {
    // Not awaited: a source that waits for bytes ends only when some come.
    void source.return?.();
  }
}

/** The source as the job records it: what came from the standard input is nowhere to be found again. */
export function recordedSource(source: SourceFile, { typed }: InputFile): SourceFile {
  return typed === STANDARD_INPUT ? { ...source, path: STANDARD_INPUT } : source;
}
