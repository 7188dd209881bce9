// Runs jobs on several processes; the scores come back in the order of the jobs, whoever was first.
import { fork } from 'node:child_process';
import { fileURLToPath } from 'node:url';
import type { NetworkFamily } from '@lapjoint/engine';
import type { JobScore } from './score.ts';

/** One simulated job of a family and what is to be tried on it. */
export interface ProofJob {
  readonly family: NetworkFamily;
  readonly number: number;
  /** mm; null: 5, 30 and 150 in turn. */
  readonly length: number | null;
  readonly seed: number;
  readonly variants: readonly string[];
}

export interface ProofResult {
  readonly job: ProofJob;
  readonly length: number;
  /** By variant; empty when the tool refused a frame. */
  readonly scores: Readonly<Record<string, JobScore>>;
  readonly refusal: string | null;
  readonly isSettled: boolean;
  readonly rounds: number;
  /** Processor time of the tool's own part. */
  readonly timeMs: number;
}

export async function runJobs(
  jobs: readonly ProofJob[],
  workerCount: number,
  onProgress: (done: number) => void,
): Promise<ProofResult[]> {
  if (workerCount <= 1) {
    const { runJob } = await import('./run-job.ts');
    const results: ProofResult[] = [];
    for (const job of jobs) {
      results.push(await runJob(job));
      onProgress(results.length);
    }
    return results;
  }
  const results = new Array<ProofResult>(jobs.length);
  let next = 0;
  let done = 0;
  const work = (): Promise<void> =>
    new Promise((resolve, reject) => {
      const child = fork(fileURLToPath(new URL('./worker.ts', import.meta.url)), [], { serialization: 'advanced' });
      let index = -1;
      const give = (): void => {
        if (next >= jobs.length) {
          child.disconnect();
          resolve();
          return;
        }
        index = next++;
        child.send(jobs[index]);
      };
      child.on('message', (message: { readonly result?: ProofResult; readonly error?: string }) => {
        if (message.result === undefined) {
          child.kill();
          reject(new Error(`${jobs[index].family} ${jobs[index].number}: ${message.error}`));
          return;
        }
        results[index] = message.result;
        onProgress(++done);
        give();
      });
      child.on('exit', (code) => {
        if (code !== 0) reject(new Error(`A worker ended with ${code}.`));
      });
      give();
    });
  await Promise.all(Array.from({ length: Math.min(workerCount, jobs.length) }, work));
  return results;
}
