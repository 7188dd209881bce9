import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { openJob, verifyJob } from '@lapjoint/jobs';
import { afterAll, describe, expect, it } from 'vitest';
import { writeBumpySheets } from '../../jobs/test/fixtures/bumpy-sheet.ts';
import { lapjoint } from './fixtures/recorded-console.ts';
import { BOX_POINTS, plyOf, temporaryFolder, writeInto } from './fixtures/small-scans.ts';

const folder = temporaryFolder();
const disk = join(folder, 'small-disk');
mkdirSync(disk);
// Only root may mount; elsewhere the injected failures of crash-at-each-step.test.ts stand for this.
const mounted = spawnSync('mount', ['-t', 'tmpfs', '-o', 'size=512k', 'tmpfs', disk]).status === 0;
afterAll(() => {
  if (mounted) spawnSync('umount', [disk]);
});

describe.skipIf(!mounted)('a full disk', () => {
  const job = join(disk, 'job');
  const small = writeInto(folder, 'small.ply', plyOf(BOX_POINTS, 'unit: mm'));
  const many = Array.from({ length: 60000 }, (_, i) => [i % 251, (i * 7) % 239, (i * 13) % 83]);
  const big = writeInto(folder, 'big.ply', plyOf(many, 'unit: mm'));

  it('refuses a scan that does not fit, exit code 1, and leaves the job as it was', async () => {
    expect((await lapjoint(['new', job])).exitCode).toBe(0);
    expect((await lapjoint(['add', job, small])).exitCode).toBe(0);
    const before = readFileSync(join(job, 'journal.jsonl'));
    const run = await lapjoint(['add', job, big]);
    expect(run.exitCode).toBe(1);
    expect(run.error).toContain('disk-full');
    expect(readFileSync(join(job, 'journal.jsonl'))).toEqual(before);
    expect((await verifyJob(job, {})).intact).toBe(true);
    // What fits still goes in.
    expect((await lapjoint(['undo', job])).exitCode).toBe(0);
    expect((await lapjoint(['redo', job])).exitCode).toBe(0);
    expect((await openJob(job)).document.scans).toHaveLength(1);
  });

  it('leaves no half handover behind', async () => {
    const large = join(folder, 'large-job');
    await lapjoint(['new', large]);
    await lapjoint(['add', large, ...writeBumpySheets(folder, 24)]);
    expect((await lapjoint(['align', large, '--workers', '1'])).exitCode).toBe(0);
    expect((await lapjoint(['fuse', large, '--workers', '1'])).exitCode).toBe(0);
    const out = join(disk, 'out');
    const run = await lapjoint(['handover', large, out]);
    expect(run.exitCode).toBe(1);
    expect(run.error).toContain('disk-full');
    expect(existsSync(out)).toBe(false);
  });
});
