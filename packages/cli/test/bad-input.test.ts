import { spawnSync } from 'node:child_process';
import { chmodSync, cpSync, mkdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { openJob, verifyJob } from '@lapjoint/jobs';
import { describe, expect, it } from 'vitest';
import { lapjoint } from './fixtures/recorded-console.ts';
import { BOX_POINTS, plyOf, temporaryFolder, writeInto } from './fixtures/small-scans.ts';

const folder = temporaryFolder();
const good = writeInto(folder, 'good.ply', plyOf(BOX_POINTS, 'unit: mm'));

/** A binary PLY that promises more points than it holds. */
function lyingPly(stated: number, held: number): Uint8Array {
  const head = `ply\nformat binary_little_endian 1.0\ncomment unit: mm\nelement vertex ${stated}\nproperty float x\nproperty float y\nproperty float z\nend_header\n`;
  const points = Float32Array.from({ length: 3 * held }, (_, i) => (i * 37) % 101);
  return Buffer.concat([Buffer.from(head), Buffer.from(points.buffer)]);
}

/** A binary STL whose header promises more facets than follow. */
function lyingStl(stated: number, held: number): Uint8Array {
  const bytes = Buffer.alloc(84 + 50 * held);
  bytes.writeUInt32LE(stated, 80);
  return bytes;
}

const nan = BOX_POINTS.map(() => ['nan', 'nan', 'nan']) as unknown as number[][];
const BAD: readonly (readonly [string, string, string | Uint8Array])[] = [
  ['empty', 'empty.ply', ''],
  ['only a header, cut off in the middle', 'cut.ply', plyOf(BOX_POINTS, 'unit: mm').slice(0, 60)],
  ['a header and no data', 'no-data.ply', lyingPly(1000, 0)],
  ['four billion points stated, none there', 'lying.ply', lyingPly(4e9, 0)],
  ['four billion facets stated, none there', 'lying.stl', lyingStl(4e9, 0)],
  ['a picture named as a scan', 'picture.ply', Buffer.from('\u0089PNG\r\n\u001a\n0000000000', 'latin1')],
  ['text named as a binary format', 'letter.stl', 'Dear customer,\nthe scans follow next week.\n'],
  ['text named as a binary format, once more', 'letter.ply', 'Dear customer,\nthe scans follow next week.\n'],
  ['random bytes', 'noise.obj', Buffer.from(Array.from({ length: 500 }, (_, i) => (i * 197 + 13) % 256))],
  ['0 points', 'zero.ply', plyOf([], 'unit: mm')],
  ['1 point', 'one.ply', plyOf(BOX_POINTS.slice(0, 1), 'unit: mm')],
  ['2 points', 'two.ply', plyOf(BOX_POINTS.slice(0, 2), 'unit: mm')],
  ['all points equal', 'same.ply', plyOf(Array(50).fill([1, 2, 3]), 'unit: mm')],
  ['NaN only', 'nan.ply', plyOf(nan, 'unit: mm')],
];

describe('bad input', () => {
  it.each(BAD)(
    '%s: refused with exit code 3, a reason and what to do; the job is unharmed',
    async (_, name, content) => {
      const job = join(temporaryFolder(), 'job');
      await lapjoint(['new', job]);
      await lapjoint(['add', job, good]);
      const before = (await openJob(job)).document;
      const path = writeInto(folder, name, content);
      const run = await lapjoint(['add', job, path, '--unit', 'mm', '--json']);
      expect(run.exitCode).toBe(3);
      const { scans, refused } = JSON.parse(run.out);
      expect(scans).toEqual([]);
      expect(refused).toHaveLength(1);
      expect(refused[0].code).toMatch(/^[a-z-]+$/);
      expect(refused[0].message).toContain(name);
      expect(refused[0].hint.length).toBeGreaterThan(5);
      expect((await openJob(job)).document).toEqual(before);
      expect((await verifyJob(job, {})).intact).toBe(true);
    },
  );

  it('a file cut off in its data gives what is complete, with a warning', async () => {
    const job = join(temporaryFolder(), 'job');
    await lapjoint(['new', job]);
    const path = writeInto(folder, 'cut-data.ply', lyingPly(1000, 400));
    const run = await lapjoint(['add', job, path]);
    expect(run.exitCode).toBe(0);
    expect(run.error).toContain('warning:');
    expect((await openJob(job)).document.scans[0]?.pointCount).toBe(400);
  });

  it('a folder and a missing file are named as such', async () => {
    const job = join(temporaryFolder(), 'job');
    await lapjoint(['new', job]);
    const run = await lapjoint(['add', job, folder, join(folder, 'none.ply'), '--unit', 'mm', '--json']);
    expect(run.exitCode).toBe(3);
    expect(JSON.parse(run.out).refused.map((file: { code: string }) => file.code)).toEqual([
      'file-is-folder',
      'file-missing',
    ]);
  });
});

/** Runs the command line as a user without rights; root needs that, since nothing is forbidden to root. */
function asOtherUser(words: readonly string[]): { exitCode: number | null; error: string } {
  const bin = join(import.meta.dirname, '..', 'bin', 'lapjoint.mjs');
  const node = ['--conditions=source', '--import', 'tsx', bin, ...words];
  const root = process.getuid?.() === 0;
  const run = spawnSync(process.execPath, node, {
    encoding: 'utf8',
    ...(root ? { uid: 65534, gid: 65534, env: { ...process.env, HOME: '/nonexistent' } } : {}),
  });
  return { exitCode: run.status, error: run.stderr };
}

describe.skipIf(process.platform === 'win32')('missing rights', () => {
  const place = temporaryFolder();
  chmodSync(place, 0o755);

  it('a scan that may not be read is refused with exit code 3', async () => {
    const job = join(place, 'open-job');
    await lapjoint(['new', job]);
    for (const name of ['', 'blobs', 'writers', 'temporary']) chmodSync(join(job, name), 0o777);
    chmodSync(join(job, 'journal.jsonl'), 0o666);
    const secret = writeInto(place, 'secret.ply', readFileSync(good));
    chmodSync(secret, 0o000);
    const run = asOtherUser(['add', job, secret]);
    expect(run.error).toContain('file-no-rights');
    expect(run.exitCode).toBe(3);
    expect((await openJob(job)).document.scans).toEqual([]);
  });

  it('a job that may not be written is not changed, exit code 1; reading works', async () => {
    const job = join(place, 'closed-job');
    await lapjoint(['new', job]);
    await lapjoint(['add', job, good]);
    chmodSync(job, 0o755);
    for (const name of ['blobs', 'writers', 'temporary']) chmodSync(join(job, name), 0o555);
    const copy = join(place, 'copy.ply');
    cpSync(good, copy);
    const before = readFileSync(join(job, 'journal.jsonl'));
    const run = asOtherUser(['add', job, copy, '--force']);
    expect(run.error).toContain('no-rights');
    expect(run.exitCode).toBe(1);
    expect(readFileSync(join(job, 'journal.jsonl'))).toEqual(before);
    expect(asOtherUser(['show', job]).exitCode).toBe(0);
  });

  it('a folder where no job may be made says so, exit code 1', () => {
    const closed = join(place, 'closed');
    mkdirSync(closed);
    chmodSync(closed, 0o555);
    const run = asOtherUser(['new', join(closed, 'job')]);
    expect(run.error).toContain('no-rights');
    expect(run.exitCode).toBe(1);
  });
});
