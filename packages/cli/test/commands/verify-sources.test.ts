import { appendFileSync, renameSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { lapjoint } from '../fixtures/recorded-console.ts';
import { BOX_POINTS, plyOf, temporaryFolder, writeInto } from '../fixtures/small-scans.ts';

const folder = temporaryFolder();

describe('verify, when only files of the user moved or changed', () => {
  it('warns and exits 0: the job holds the points itself', async () => {
    const job = join(folder, 'job');
    await lapjoint(['new', job]);
    const moved = writeInto(folder, 'moved.ply', plyOf(BOX_POINTS));
    const changed = writeInto(folder, 'changed.ply', plyOf(BOX_POINTS.slice(0, 5)));
    await lapjoint(['add', job, moved, changed, '--unit', 'mm']);
    const report = join(folder, 'report.html');
    await lapjoint(['report', job, '--output', report]);
    const calm = await lapjoint(['verify', job]);
    expect(calm).toMatchObject({ exitCode: 0, error: '' });

    renameSync(moved, `${moved}.old`);
    appendFileSync(changed, 'one more line\n');
    appendFileSync(report, '<!-- edited -->');
    const run = await lapjoint(['verify', job]);
    expect(run.exitCode).toBe(0);
    expect(run.out).toContain('sources    0 of 2 where they were and unchanged');
    expect(run.out).toContain('The job is intact.');
    expect(run.error).toContain(`warning: ${moved}: The file that was added is no longer there.`);
    expect(run.error).toContain(`warning: ${changed}: The file holds something else`);
    expect(run.error).toContain(`warning: ${report}: A file that this job wrote was changed since.`);
    const { findings, intact } = JSON.parse((await lapjoint(['verify', job, '--json'])).out);
    expect(intact).toBe(true);
    expect(findings.map((finding: { code: string }) => finding.code)).toEqual([
      'source-missing',
      'source-changed',
      'export-changed',
    ]);
    // Still good for what follows.
    expect((await lapjoint(['show', job])).exitCode).toBe(0);
  });
});
