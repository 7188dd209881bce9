// `npm test`: installs when needed, builds, runs every check and the tests; ends with one line "N passed, N failed".
// Arguments go to the test runner: `npm test -- packages/engine/test/formats`.
import { spawnSync } from 'node:child_process';
import { join } from 'node:path';
import { build } from './build.mjs';
import { install, root } from './install.mjs';

install();
build();
const args = process.argv.slice(2);
let failedGates = 0;
if (args.length === 0) {
  const gates = [
    ['boundaries', process.execPath, ['tools/check-boundaries.mjs']],
    ['lint and format', process.execPath, ['node_modules/@biomejs/biome/bin/biome', 'ci', '--error-on-warnings', '.']],
    ['types of the tests', process.execPath, ['node_modules/typescript/bin/tsc', '-p', 'tsconfig.tests.json']],
  ];
  for (const [name, command, commandArgs] of gates) {
    const gate = spawnSync(command, commandArgs, { cwd: root, stdio: 'inherit' });
    process.stdout.write(`gate ${name}: ${gate.status === 0 ? 'passed' : 'FAILED'}\n`);
    if (gate.status !== 0) failedGates++;
  }
}
const vitest = spawnSync(process.execPath, [join('node_modules', 'vitest', 'vitest.mjs'), 'run', ...args], {
  cwd: root,
  stdio: 'inherit',
  env: { ...process.env, LAPJOINT_FAILED_GATES: String(failedGates) },
});
process.exit(vitest.status === 0 && failedGates > 0 ? 1 : (vitest.status ?? 1));
