// `npm start`: installs, builds, captures the demo object with virtual instruments and does the whole job on it.

import { spawnSync } from 'node:child_process';
import { existsSync, readFileSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import { build } from './build.mjs';
import { install, root } from './install.mjs';

install();
build();

const small = process.argv.includes('--small');
const data = join(root, 'demo-data');
const job = join(root, 'demo-job');
const out = join(root, 'demo-handover');
for (const folder of [data, job, out]) rmSync(folder, { recursive: true, force: true });

/** Runs one command the way a user would, and shows it. A refusal (exit code 4) is a result, not a failure. */
function lapjoint(...args) {
  process.stderr.write(`\n$ npx lapjoint ${args.join(' ')}\n`);
  const result = spawnSync(process.execPath, [join(root, 'packages/cli/bin/lapjoint.mjs'), ...args], {
    cwd: root,
    stdio: ['ignore', 'inherit', 'inherit'],
  });
  if (result.status !== 0 && result.status !== 4) {
    process.stderr.write(`The demo stopped: "${args[0]}" ended with exit code ${result.status}.\n`);
    process.exit(result.status ?? 1);
  }
}

lapjoint('demo', 'demo-data', ...(small ? ['--small'] : []));
const steps = JSON.parse(readFileSync(join(data, 'commands.json'), 'utf8'));
for (const step of steps) lapjoint(...step);

process.stdout.write(`
The demo job is done. All of it is invented; its true shape is known and compared with.
  report    ${existsSync(join(job, 'report.html')) ? 'demo-job/report.html   (open it in a browser)' : 'none'}
  handover  demo-handover/         (model, cloud, poses, targets, report, manifest)
  data      demo-data/             (what the virtual instruments captured)
  look      npx lapjoint show demo-job
`);
