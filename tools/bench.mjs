// `npm run bench -- SUITE ...`: runs a suite of benchmarks. Suites are folders of bench/ with their own runner.
import { spawnSync } from 'node:child_process';
import { join } from 'node:path';
import { buildKernels } from './build.mjs';
import { root } from './install.mjs';

const SUITES = { peers: join('bench', 'race', 'run.ts') };

const [suite, ...args] = process.argv.slice(2);
if (!Object.hasOwn(SUITES, suite ?? '')) {
  process.stderr.write(
    `Usage: npm run bench -- SUITE [...]\nSuites: ${Object.keys(SUITES).join(', ')}; --help after one tells more.\n`,
  );
  process.exit(suite === undefined ? 0 : 2);
}
buildKernels();
const child = spawnSync(process.execPath, ['--conditions=source', '--import', 'tsx', SUITES[suite], ...args], {
  cwd: root,
  stdio: 'inherit',
});
process.exit(child.status ?? 1);
