// Runs our side of one job and prints a JSON line for each measurement. Started by race.ts, in a process of its own.

import { loadJobs } from './load-jobs.ts';
import { findPeers } from './places.ts';

const [name] = process.argv.slice(2);
const [job] = await loadJobs(name ? [name] : []);
for (const measurement of (await job?.ours(findPeers())) ?? [])
  process.stdout.write(`${JSON.stringify(measurement)}\n`);
