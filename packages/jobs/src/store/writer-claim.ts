import { join } from 'node:path';
import { setTimeout as wait } from 'node:timers/promises';
import { AppError } from '@lapjoint/engine';
import { isRunning, type ProcessIdentity, thisProcess } from './process-identity.ts';
import type { StorageFiles } from './storage-files.ts';

let counter = 0;

function nameOf(identity: ProcessIdentity, serial: number): string {
  return `${identity.pid}_${identity.start}_${identity.host}_${serial}.claim`;
}

function identityOf(name: string): ProcessIdentity | null {
  const match = /^(\d+)_([^_]+)_([^_]+)_\d+\.claim$/.exec(name);
  return match === null ? null : { pid: Number(match[1]), start: match[2] as string, host: match[3] as string };
}

/** The right to write a job. */
export interface WriterClaim {
  release(): Promise<void>;
}

/**
 * Takes the right to write a job, or says who has it.
 *
 * Method   announce, then look: every writer first makes a file of its own name, then lists all. Of two writers the
 *          later one to look sees the other, so both never hold the claim. Whoever sees a living other steps back and
 *          tries again. The name carries process number and start time: a file of a process that is gone (kill -9,
 *          power cut) is stale and swept away; no file is ever taken over, so there is no race in doing so.
 *
 * @param folder holds the claims of one job
 * @throws AppError `job-busy`
 */
export async function claimWriting(folder: string, files: StorageFiles, attempts = 6): Promise<WriterClaim> {
  const own = thisProcess();
  await files.ensureFolder(folder);
  let other: ProcessIdentity | null = null;
  for (let attempt = 0; attempt < attempts; attempt++) {
    const name = nameOf(own, counter++);
    const path = join(folder, name);
    await files.writeNew(path, []);
    other = null;
    for (const found of await files.list(folder)) {
      const identity = identityOf(found);
      if (found === name || identity === null) continue;
      if (isRunning(identity, own)) other = identity;
      else await files.remove(join(folder, found));
    }
    if (other === null) return { release: () => files.remove(path) };
    await files.remove(path);
    // Unequal pauses, so that two who stepped back for each other do not meet again.
    await wait(10 + ((own.pid * 7 + counter * 29) % 60));
  }
  const where = other === null || other.host === own.host ? '' : ` on ${other.host}`;
  throw new AppError(
    'job-busy',
    `Another program is writing this job (process ${other?.pid ?? 'unknown'}${where}).`,
    other !== null && other.host !== own.host
      ? `Wait until it is done. If no program runs there any more, remove the files in ${folder}.`
      : 'Wait until it is done, or stop it, and run the command again. Reading (show, log, verify) works meanwhile.',
  );
}
