// `npm run bench -- peers`: races the peer programs and prints a table of ratios for each job.
import { mkdirSync, writeFileSync } from 'node:fs';
import { cpus } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';
import { jobNames, loadJobs } from './load-jobs.ts';
import { findPeers } from './places.ts';
import { race } from './race.ts';
import { raceTable } from './table.ts';

const usage = `Usage: npm run bench -- peers [JOB ...] [--rounds N]
Jobs: ${jobNames().join(', ')}. Default: all, 3 rounds. Times are processor seconds of one thread, medians of the rounds.
LAPJOINT_PEERS_BUILD and LAPJOINT_PEERS_DATA name the folders of the peers; without them ours runs alone.`;

const { values, positionals } = parseArgs({
  allowPositionals: true,
  options: { rounds: { type: 'string', default: '3' }, help: { type: 'boolean', default: false } },
});
const rounds = Number(values.rounds);
if (values.help || !(Number.isInteger(rounds) && rounds >= 1)) {
  process.stdout.write(`${usage}\n`);
  process.exit(values.help ? 0 : 2);
}

const places = findPeers();
const jobs = await loadJobs(positionals).catch((error: Error) => {
  process.stderr.write(`${error.message}\n`);
  process.exit(2);
});
if (!places.build || !places.data) {
  process.stdout.write('The peers are absent (LAPJOINT_PEERS_BUILD, LAPJOINT_PEERS_DATA): ours runs alone.\n');
}
const lines: object[] = [{ node: process.version, processor: cpus()[0]?.model, rounds }];
for (const job of jobs) {
  const result = race(job, places, rounds, (text) => process.stderr.write(`${text}\n`));
  process.stdout.write(`${raceTable(job, result)}\n`);
  for (const entry of result.entries) lines.push({ job: job.name, ...entry });
}
const folder = fileURLToPath(new URL('../results/', import.meta.url));
mkdirSync(folder, { recursive: true });
writeFileSync(join(folder, 'peers.jsonl'), lines.map((line) => `${JSON.stringify(line)}\n`).join(''));
process.stdout.write('\nEvery round is in bench/results/peers.jsonl.\n');
