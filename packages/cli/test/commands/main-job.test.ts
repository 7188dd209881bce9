import { createHash } from 'node:crypto';
import { cpSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { openJob } from '@lapjoint/jobs';
import { describe, expect, it } from 'vitest';
import { writeBumpySheets } from '../../../jobs/test/fixtures/bumpy-sheet.ts';
import { lapjoint } from '../fixtures/recorded-console.ts';
import { BOX_POINTS, plyOf, temporaryFolder, writeInto } from '../fixtures/small-scans.ts';

const folder = temporaryFolder();
const [left, right] = writeBumpySheets(folder, 24);
const job = join(folder, 'sheet-job');

/** Runs a command that must succeed, with --json, and gives its document. */
async function done(...words: string[]): Promise<Record<string, never>> {
  const run = await lapjoint([...words, '--json', '--workers', '1']);
  expect(run.error).not.toContain('code:');
  expect(run.exitCode).toBe(0);
  return JSON.parse(run.out);
}

describe('the main job, end to end', () => {
  it('refuses steps out of order, with what to do first', async () => {
    await done('new', job);
    expect((await lapjoint(['align', job])).error).toContain('nothing-to-align');
    await done('add', job, left, right);
    const fuse = await lapjoint(['fuse', job]);
    expect(fuse.exitCode).toBe(1);
    expect(fuse.error).toContain('not-aligned');
    expect((await lapjoint(['handover', job, join(folder, 'early')])).error).toContain('not-aligned');
  });

  it('aligns: the second sheet goes back to where it came from, with its uncertainty', async () => {
    const { poses, ties, adjustment } = (await done('align', job)) as unknown as {
      poses: {
        scan: string;
        jobFromScan: number[];
        covariance: number[][];
        covarianceReferenceMm: number[];
        status: string;
      }[];
      ties: { kind: string; status: string; rmsMm: number }[];
      adjustment: { upToDate: boolean; converged: boolean };
    };
    expect(poses.map((pose) => [pose.scan, pose.status])).toEqual([
      ['scan-1', 'fixed'],
      ['scan-2', 'adjusted'],
    ]);
    // Both files hold true coordinates, so the pose is the identity. Their triangles leave the sheet by up to 0.09 mm (sagitta of
    // 2 mm at its sharpest bend), and the origin is a corner of the sheet.
    const identity = [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1];
    poses[1]?.jobFromScan.forEach((value, i) => {
      expect(Math.abs(value - (identity[i] ?? 0))).toBeLessThan([3, 7, 11].includes(i) ? 0.2 : 0.006);
    });
    const { covariance, covarianceReferenceMm: middle, jobFromScan: m } = poses[1] as (typeof poses)[number];
    expect(covariance).toHaveLength(6);
    const at = [0, 1, 2].map((r) => m.slice(4 * r, 4 * r + 3).reduce((sum, v, k) => sum + v * (middle[k] ?? 0), 0));
    const shift = at.map((value, r) => value + (m[4 * r + 3] ?? 0) - (middle[r] ?? 0));
    [...shift, m[9] ?? 1, m[2] ?? 1, m[4] ?? 1].forEach((value, k) => {
      expect(Math.abs(value)).toBeLessThan(3 * Math.sqrt(covariance[k]?.[k] ?? 0));
    });
    expect(ties).toMatchObject([{ kind: 'overlap', status: 'used' }]);
    expect(adjustment).toMatchObject({ upToDate: true, converged: true });
  });

  it('does not align again what has not changed, unless forced; then the result is the same', async () => {
    const before = (await openJob(job)).document.alignment;
    expect(await done('align', job)).toMatchObject({ reused: true });
    expect((await openJob(job)).entries).toHaveLength(3);
    expect(await done('align', job, '--force')).toMatchObject({ reused: false });
    expect((await openJob(job)).document.alignment).toEqual(before);
  });

  it('aligns to the same bits with 1 and with 2 workers', async () => {
    const copy = join(folder, 'two-workers');
    cpSync(job, copy, { recursive: true });
    expect((await lapjoint(['align', copy, '--force', '--workers', '2'])).exitCode).toBe(0);
    expect((await openJob(copy)).document.alignment).toEqual((await openJob(job)).document.alignment);
  });

  it('fuses, reports and hands over with hashes that hold', async () => {
    const { fused } = (await done('fuse', job)) as unknown as { fused: Record<string, unknown> };
    expect(fused).toMatchObject({ upToDate: true, scans: ['scan-1', 'scan-2'] });
    expect(fused['triangles']).toBeGreaterThan(500);
    await done('report', job);
    const report = readFileSync(join(job, 'report.html'), 'utf8');
    expect(report).toContain('left.ply');
    expect(report).not.toMatch(/src="http|<script/);
    const out = join(folder, 'out');
    await done('handover', job, out);
    const manifest = JSON.parse(readFileSync(join(out, 'manifest.json'), 'utf8'));
    const named = manifest.files.map((file: { name: string }) => file.name);
    expect([...named, 'manifest.json'].sort()).toEqual(readdirSync(out).sort());
    for (const name of [
      'model.ply',
      'model.stl',
      'model.obj',
      'model.glb',
      'cloud.ply',
      'poses.json',
      'poses.csv',
      'targets.csv',
      'report.html',
      'record.json',
    ]) {
      expect(named).toContain(name);
    }
    for (const { name, sha256, byteLength } of manifest.files) {
      const bytes = readFileSync(join(out, name));
      expect(createHash('sha256').update(bytes).digest('hex')).toBe(sha256);
      expect(bytes.length).toBe(byteLength);
    }
    expect(JSON.parse(readFileSync(join(out, 'record.json'), 'utf8')).commands).toHaveLength(6);
  });

  it('hands over the same bytes when asked again, and never over other files', async () => {
    const second = join(folder, 'out-again');
    await done('handover', job, second);
    for (const name of readdirSync(second)) {
      expect([name, readFileSync(join(second, name)).equals(readFileSync(join(folder, 'out', name)))]).toEqual([
        name,
        true,
      ]);
    }
    const refused = await lapjoint(['handover', job, second]);
    expect(refused.exitCode).toBe(1);
    expect(refused.error).toContain('folder-not-empty');
    writeFileSync(join(second, 'mine.txt'), 'keep me');
    await done('handover', job, second, '--force');
    expect(readFileSync(join(second, 'mine.txt'), 'utf8')).toBe('keep me');
  });

  it('writes over its own report, but not over a file that somebody changed', async () => {
    await done('report', job);
    writeFileSync(join(job, 'report.html'), 'my notes');
    const refused = await lapjoint(['report', job]);
    expect(refused.exitCode).toBe(1);
    expect(refused.error).toContain('file-exists');
    expect(readFileSync(join(job, 'report.html'), 'utf8')).toBe('my notes');
    await done('report', job, '--force');
    const out = await lapjoint(['report', job, '--output', '-']);
    expect(out.out).toBe(readFileSync(join(job, 'report.html'), 'utf8'));
  });

  it('says when results are older than the job, and does not hand them over', async () => {
    const box = writeInto(folder, 'box.ply', plyOf(BOX_POINTS, 'unit: mm'));
    await done('add', job, box);
    expect(await done('show', job)).toMatchObject({ adjustment: { upToDate: false }, fused: { upToDate: false } });
    expect((await lapjoint(['fuse', job])).error).toContain('alignment-out-of-date');
    expect((await lapjoint(['handover', job, join(folder, 'stale')])).error).toContain('result-out-of-date');
    await done('undo', job);
    expect(await done('show', job)).toMatchObject({ adjustment: { upToDate: true }, fused: { upToDate: true } });
  });

  it('refuses what cannot be placed: exit code 4, status, reason and remedy in the result', async () => {
    const lost = join(folder, 'lost');
    const plane = Array.from({ length: 400 }, (_, i) => [2 * (i % 20), 2 * Math.floor(i / 20), 0]);
    await done('new', lost);
    await done('add', lost, left, writeInto(folder, 'plane.ply', plyOf(plane, 'unit: mm')));
    const run = await lapjoint(['align', lost, '--json', '--workers', '1']);
    expect(run.exitCode).toBe(4);
    const refused = JSON.parse(run.out).poses.filter((pose: { status: string }) => pose.status === 'refused');
    expect(refused.length).toBeGreaterThan(0);
    expect(refused[0]).toMatchObject({ jobFromScan: null, covariance: null });
    expect(refused[0].message.length).toBeGreaterThan(10);
    expect(refused[0].remedy.length + refused[0].message.length).toBeGreaterThan(30);
    expect(run.error).toContain('refused:');
  });

  it('uses picked pairs where there is no other way, and refuses wrong units and exchanged sides', async () => {
    const tied = join(folder, 'tied');
    await done('new', tied);
    await done('add', tied, left, right);
    const rows = [
      [20, 10, 4],
      [40, 12, 2],
      [24, 40, -3],
      [42, 38, 1],
    ].map(([x, y, z]) => `left.ply,${x},${y},${z},right,${x},${y},${z}\n`);
    const picks = writeInto(folder, 'picks.csv', `a,xa,ya,za,b,xb,yb,zb\n${rows.join('')}`);
    expect((await lapjoint(['tie', tied, picks])).exitCode).toBe(3);
    const metres = await lapjoint(['tie', tied, picks, '--unit', 'm']);
    expect(metres.exitCode).toBe(3);
    expect(metres.error).toContain('picks-outside');
    expect(await done('tie', tied, picks, '--unit', 'mm')).toMatchObject({
      ties: [{ id: 'picks-1', kind: 'picked', frames: ['left', 'right'], count: 4 }],
    });
    const strangers = writeInto(
      folder,
      'strangers.csv',
      'a,xa_mm,ya_mm,za_mm,b,xb_mm,yb_mm,zb_mm\nx,1,2,3,left,1,2,3\n',
    );
    const unknown = await lapjoint(['tie', tied, strangers]);
    expect(unknown.exitCode).toBe(2);
    expect(unknown.error).toContain('unknown-name');
    const broken = writeInto(folder, 'broken.csv', 'a,xa_mm,ya_mm,za_mm,b,xb_mm,yb_mm,zb_mm\nleft,1,2,x,right,1,2,3\n');
    expect((await lapjoint(['tie', tied, broken])).error).toContain('line 2');
    const { ties } = (await done('align', tied)) as unknown as { ties: { id: string; status: string }[] };
    expect(ties.map((tie) => tie.id)).toContain('picks-1');
  });
});
