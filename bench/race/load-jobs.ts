import { readdirSync } from 'node:fs';
import type { PeerJob } from './job.ts';

const folder = new URL('../peers/', import.meta.url);

/** Names of the jobs: the files of bench/peers. */
export function jobNames(): string[] {
  return readdirSync(folder)
    .filter((name) => name.endsWith('.ts'))
    .map((name) => name.slice(0, -3))
    .sort();
}

/**
 * The named jobs, all where none is named.
 *
 * @throws RangeError for a job that does not exist
 */
export async function loadJobs(names: readonly string[]): Promise<PeerJob[]> {
  const known = jobNames();
  for (const name of names) {
    if (!known.includes(name)) throw new RangeError(`There is no job "${name}". Jobs: ${known.join(', ')}.`);
  }
  const modules = await Promise.all(
    (names.length > 0 ? names : known).map((name) => import(new URL(`${name}.ts`, folder).href)),
  );
  return modules.map((module) => module.job as PeerJob);
}
