// One simulated job: simulate, settle, state, compare with the truth.
import { makeRunContext, simulateNetworkOfFamily } from '@lapjoint/engine';
import { settleNetwork } from './estimate.ts';
import type { ProofJob, ProofResult } from './run-jobs.ts';
import { type JobScore, scoreNetwork } from './score.ts';
import { WEIGH_STEPS } from './weigh.ts';

export async function runJob(job: ProofJob): Promise<ProofResult> {
  const context = makeRunContext({ seed: job.seed });
  const network = simulateNetworkOfFamily(job.family, job.number, job.length, context);
  const start = process.cpuUsage();
  const settled = await settleNetwork(network.data, context);
  const { user, system } = process.cpuUsage(start);
  const result = {
    job,
    length: network.correlationLength,
    isSettled: settled.isSettled,
    rounds: settled.rounds,
    timeMs: (user + system) / 1000,
  };
  const refused = settled.adjustment.frames.find((frame) => frame.jobFromFrame === null);
  if (refused !== undefined) return { ...result, scores: {}, refusal: `${refused.frame}: ${refused.message}` };
  const scores: Record<string, JobScore> = {};
  for (const variant of job.variants) {
    const step = WEIGH_STEPS[variant];
    if (step === undefined) throw new Error(`No variant ${variant}; there are ${Object.keys(WEIGH_STEPS).join(', ')}.`);
    scores[variant] = scoreNetwork(network, await step(settled, context));
  }
  return { ...result, scores, refusal: null };
}
