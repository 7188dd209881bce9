import { spawnSync } from 'node:child_process';
import { readdirSync } from 'node:fs';
import { dirname, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { describe, expect, it } from 'vitest';

const root = join(dirname(fileURLToPath(import.meta.url)), '..');
const examples = readdirSync(join(root, 'examples')).filter((name) => /^\d\d-.*\.ts$/.test(name));

describe('examples', () => {
  it.each(examples)('%s runs and finds what its header says', (name) => {
    const run = spawnSync(process.execPath, ['--conditions=source', '--import', 'tsx', join(root, 'examples', name)], {
      cwd: root,
      encoding: 'utf8',
    });
    expect(run.stderr).toBe('');
    expect(run.status).toBe(0);
    expect(run.stdout.trim().length).toBeGreaterThan(20);
  });
});
