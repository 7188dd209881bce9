// A process that runs jobs as they come.
import { runJob } from './run-job.ts';
import type { ProofJob } from './run-jobs.ts';

process.on('message', async (job: ProofJob) => {
  try {
    process.send?.({ result: await runJob(job) });
  } catch (error) {
    process.send?.({ error: error instanceof Error ? (error.stack ?? error.message) : String(error) });
  }
});
