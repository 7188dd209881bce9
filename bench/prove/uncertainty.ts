// Stated uncertainties against the truth of simulated networks.
//   npm run prove -- uncertainty [--short]                the long form writes docs/proofs/uncertainty.md
//   npx tsx --conditions=source bench/prove/uncertainty.ts --family door --jobs 60 --length 150
// --family: good door chain ring targets mixed, or several with commas. --jobs: how many of each; without it the long form, or a --share of it. --from: number of the
// first. --length: correlation length in mm; without it 5, 30 and 150 in turn. --weigh: variants of weigh.ts, with commas.
// --workers: processes. --write: writes the document.
import { mkdirSync, writeFileSync } from 'node:fs';
import { dirname } from 'node:path';
import { fileURLToPath } from 'node:url';
import { parseArgs } from 'node:util';
import { NETWORK_FAMILIES, type NetworkFamily } from '@lapjoint/engine';
import { coverageLines } from './coverage.ts';
import { proofDocument } from './proof-document.ts';
import { type ProofJob, runJobs } from './run-jobs.ts';

const { values } = parseArgs({
  options: {
    family: { type: 'string', default: NETWORK_FAMILIES.join(',') },
    jobs: { type: 'string' },
    from: { type: 'string', default: '0' },
    length: { type: 'string' },
    weigh: { type: 'string', default: 'stated,hessian' },
    seed: { type: 'string', default: '1' },
    workers: { type: 'string', default: '2' },
    share: { type: 'string', default: '1' },
    short: { type: 'boolean', default: false },
    write: { type: 'boolean', default: false },
  },
});
/** More of the families that take little time: together more than a thousand, each with hundreds of frames. */
const LONG: Readonly<Record<NetworkFamily, number>> = {
  good: 84,
  door: 300,
  chain: 84,
  ring: 60,
  targets: 300,
  mixed: 192,
};
const SHORT: Readonly<Record<NetworkFamily, number>> = { good: 2, door: 12, chain: 2, ring: 1, targets: 24, mixed: 4 };
const isWhole = values.jobs === undefined && !values.short;
const variants = values.weigh.split(',');
const jobs = (values.family.split(',') as NetworkFamily[]).flatMap((family) => {
  const count =
    values.jobs !== undefined
      ? Number(values.jobs)
      : values.short
        ? SHORT[family]
        : Math.ceil(Number(values.share) * LONG[family]);
  return Array.from({ length: count }, (_, k): ProofJob => {
    const length = values.length === undefined ? null : Number(values.length);
    return { family, number: Number(values.from) + k, length, seed: Number(values.seed), variants };
  });
});
let said = 0;
const results = await runJobs(jobs, Number(values.workers), (done) => {
  if (done < said + 20 && done < jobs.length) return;
  said = done;
  process.stderr.write(`${done} of ${jobs.length} jobs\n`);
});
process.stdout.write(`${coverageLines(results, variants).join('\n')}\n`);
if (isWhole || values.write) {
  const path = fileURLToPath(new URL('../../docs/proofs/uncertainty.md', import.meta.url));
  mkdirSync(dirname(path), { recursive: true });
  writeFileSync(path, proofDocument(results, Number(values.seed)));
  process.stdout.write(`Wrote ${path}\n`);
}
