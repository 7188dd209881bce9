// `npm run prove -- SUBJECT ...`: proofs by simulation. Subjects are files of bench/prove/.
import { spawnSync } from 'node:child_process';
import { join } from 'node:path';
import { buildKernels } from './build.mjs';
import { root } from './install.mjs';

const SUBJECTS = { uncertainty: join('bench', 'prove', 'uncertainty.ts') };

const [subject, ...args] = process.argv.slice(2);
if (!Object.hasOwn(SUBJECTS, subject ?? '')) {
  process.stderr.write(
    `Usage: npm run prove -- SUBJECT [--short]\nSubjects: ${Object.keys(SUBJECTS).join(', ')}. Without --short the long form runs and writes docs/proofs/.\n`,
  );
  process.exit(subject === undefined ? 0 : 2);
}
buildKernels();
const child = spawnSync(process.execPath, ['--conditions=source', '--import', 'tsx', SUBJECTS[subject], ...args], {
  cwd: root,
  stdio: 'inherit',
});
process.exit(child.status ?? 1);
