// Installs what the lock file names, once for each state of the lock file. Plain Node: runs before anything is installed.
import { spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';

export const root = join(dirname(fileURLToPath(import.meta.url)), '..');
const stamp = join(root, 'node_modules', '.lapjoint-install');

/** Runs a command in the project's folder and leaves with its exit code when it fails. */
export function run(command, args, options = {}) {
  const result = spawnSync(command, args, { cwd: root, stdio: 'inherit', ...options });
  if (result.error) {
    process.stderr.write(`${command} could not be started: ${result.error.message}\n`);
    process.exit(1);
  }
  if (result.status !== 0) process.exit(result.status ?? 1);
}

export function install() {
  const [major, minor] = process.versions.node.split('.').map(Number);
  if (major < 20 || (major === 20 && minor < 19)) {
    process.stderr.write(
      `Node ${process.versions.node} is too old: Lapjoint needs Node 20.19 or newer (20, 22 or 24).\n`,
    );
    process.exit(1);
  }
  const state = createHash('sha256')
    .update(readFileSync(join(root, 'package-lock.json')))
    .update(process.version)
    .digest('hex');
  if (existsSync(stamp) && readFileSync(stamp, 'utf8') === state) return;
  process.stderr.write('Installing the packages of package-lock.json ...\n');
  run('npm', ['ci', '--no-audit', '--no-fund'], { shell: process.platform === 'win32' });
  mkdirSync(dirname(stamp), { recursive: true });
  writeFileSync(stamp, state);
}
