import { spawnSync } from 'node:child_process';
import { createHash } from 'node:crypto';
import { readdirSync } from 'node:fs';
import { join } from 'node:path';
import { AppError } from '@lapjoint/engine';
import { addFiles, newJob, STANDARD_INPUT, showJob, verifyJob, WorkerPool } from '@lapjoint/jobs';
import { describe, expect, it } from 'vitest';
import { lapjoint } from './fixtures/recorded-console.ts';
import { BOX_POINTS, plyOf, temporaryFolder, writeInto } from './fixtures/small-scans.ts';

const folder = temporaryFolder();
let count = 0;

async function emptyJob(): Promise<string> {
  const job = join(folder, `job-${count++}`);
  await lapjoint(['new', job]);
  return job;
}

/** Bytes in pieces that cut lines and numbers anywhere. */
async function* inPieces(content: string | Uint8Array, size = 7): AsyncGenerator<Uint8Array> {
  const bytes = typeof content === 'string' ? new TextEncoder().encode(content) : content;
  for (let at = 0; at < bytes.length; at += size) yield bytes.subarray(at, at + size);
}

function sha256(content: string | Uint8Array): string {
  return createHash('sha256').update(content).digest('hex');
}

/** A binary STL with one triangle, whose bytes hold line ends of all kinds, a zero and an end-of-file character. */
function binaryStl(): Uint8Array {
  const bytes = new Uint8Array(84 + 50);
  bytes.set([0x0d, 0x0a, 0x1a, 0x00, 0x0d], 0);
  const view = new DataView(bytes.buffer);
  view.setUint32(80, 1, true);
  [0, 0, 1, 0, 0, 0, 10, 0, 0, 0, 10, 0].forEach((value, i) => {
    view.setFloat32(84 + 4 * i, value, true);
  });
  return bytes;
}

describe('add JOB -', () => {
  it('reads a scan from the standard input under a given name, with the hash of what came', async () => {
    const job = await emptyJob();
    const content = plyOf(BOX_POINTS);
    const words = [
      'add',
      job,
      '-',
      '--name',
      'box.ply',
      '--session',
      'outside',
      '--unit',
      'mm',
      '--json',
      '--no-input',
    ];
    const run = await lapjoint(words, null, { input: inPieces(content) });
    expect(run.exitCode).toBe(0);
    expect(JSON.parse(run.out).scans).toMatchObject([
      { id: 'scan-1', name: 'box.ply', session: 'outside', points: 9, sha256: sha256(content) },
    ]);
    expect(readdirSync(join(job, 'temporary'))).toEqual([]);
  });

  it('reads binary data byte by byte, and tells the format from the content', async () => {
    const job = await emptyJob();
    const run = await lapjoint(['add', job, '-', '--unit', 'mm', '--json'], null, { input: inPieces(binaryStl(), 5) });
    expect(JSON.parse(run.out).scans).toMatchObject([
      { name: 'standard-input', points: 3, triangles: 1, sha256: sha256(binaryStl()) },
    ]);
  });

  it('reads a target list when the name or --kind says so', async () => {
    const job = await emptyJob();
    const list = 'name,x_mm,y_mm,z_mm\na,0,0,0\nb,10,0,0\nc,0,10,0\n';
    const named = await lapjoint(['add', job, '-', '--name', 'roof.csv', '--json'], null, { input: inPieces(list) });
    expect(JSON.parse(named.out).lists).toMatchObject([{ kind: 'targets', count: 3 }]);
    const words = ['add', job, '-', '--kind', 'targets', '--force', '--json'];
    const said = await lapjoint(words, null, { input: inPieces(list) });
    expect(JSON.parse(said.out).lists).toMatchObject([{ kind: 'targets', count: 3 }]);
  });

  it('goes with other files in one command', async () => {
    const job = await emptyJob();
    const other = writeInto(folder, 'other.ply', plyOf(BOX_POINTS.slice(0, 5)));
    const run = await lapjoint(['add', job, other, '-', '--name', 'box.ply', '--unit', 'mm', '--json'], null, {
      input: inPieces(plyOf(BOX_POINTS)),
    });
    expect(JSON.parse(run.out).scans.map((scan: { name: string }) => scan.name)).toEqual(['other.ply', 'box.ply']);
  });

  it('is recorded so that it can be repeated, and verify does not look for it', async () => {
    const job = await emptyJob();
    const words = ['add', job, '-', '--name', 'box.ply', '--unit', 'mm'];
    await lapjoint(words, null, { input: inPieces(plyOf(BOX_POINTS)) });
    const report = await lapjoint(['report', job, '--output', '-']);
    expect(report.out).toContain(' - --name box.ply --session box --unit mm');
    const verified = await verifyJob(job, {});
    expect(verified).toMatchObject({ intact: true, sources: [] });
  });

  it('without a unit is refused and not asked: nobody sits there', async () => {
    const job = await emptyJob();
    const run = await lapjoint(['add', job, '-', '--name', 'box.ply'], null, { input: inPieces(plyOf(BOX_POINTS)) });
    expect(run.exitCode).toBe(3);
    expect(run.error).toContain('unit-unknown');
  });

  it.each([
    ['nothing comes', ['-'], inPieces(''), 3, 'file-empty'],
    ['a person sits there', ['-'], null, 2, 'Send it with a pipe'],
    ['it is named twice', ['-', '-'], inPieces('x'), 2, 'named twice'],
    ['it is half a file', ['-'], inPieces(plyOf(BOX_POINTS).slice(0, 60)), 3, 'ply-keyword-unknown'],
    ['it is noise', ['-'], inPieces(new Uint8Array(500).map((_, i) => (i * 37) % 251)), 3, 'scan-format-unknown'],
  ])('is refused when %s, and the job is as before', async (_, files, input, exitCode, text) => {
    const job = await emptyJob();
    const run = await lapjoint(['add', job, ...files, '--unit', 'mm'], null, { input });
    expect(run).toMatchObject({ exitCode, out: expect.not.stringContaining('Added') });
    expect(run.error).toContain(text);
    expect((await showJob(job)).scans).toEqual([]);
  });

  it('refuses a name for files that have one', async () => {
    const job = await emptyJob();
    const box = writeInto(folder, 'named.ply', plyOf(BOX_POINTS));
    const run = await lapjoint(['add', job, box, '--name', 'x.ply', '--unit', 'mm']);
    expect(run).toMatchObject({ exitCode: 2, out: '' });
  });

  it('keeps a name within the job, whatever it says', async () => {
    const job = await emptyJob();
    const run = await lapjoint(['add', job, '-', '--name', '../../journal.jsonl', '--unit', 'mm', '--json'], null, {
      input: inPieces(plyOf(BOX_POINTS)),
    });
    expect(JSON.parse(run.out).scans).toMatchObject([{ name: 'journal.jsonl' }]);
    expect((await verifyJob(job, {})).intact).toBe(true);
  });

  it('stops at once when asked to, even while nothing comes', async () => {
    const job = join(folder, 'waiting');
    await newJob(job, {});
    const controller = new AbortController();
    // A pipe whose other end never writes and never closes.
    const silent: AsyncIterable<Uint8Array> = {
      [Symbol.asyncIterator]: () => ({
        next: () => new Promise(() => setTimeout(() => controller.abort(), 20)),
      }),
    };
    const runner = new WorkerPool({ workerCount: 1 });
    const adding = addFiles(
      job,
      [STANDARD_INPUT],
      { unit: 'mm' },
      { runner, signal: controller.signal, input: silent },
    );
    await expect(adding).rejects.toThrow('Stopped on request.');
    await runner.close();
    await expect(adding).rejects.not.toBeInstanceOf(AppError);
    expect((await showJob(job)).scans).toEqual([]);
  });
});

describe('tie JOB -', () => {
  const picks = `a,xa_mm,ya_mm,za_mm,b,xb_mm,yb_mm,zb_mm\n${[0, 1, 3].map((i) => `one,${BOX_POINTS[i]},two,${BOX_POINTS[i]}\n`).join('')}`;

  it('reads picked pairs from the standard input', async () => {
    const job = await emptyJob();
    for (const name of ['one', 'two']) {
      const points = name === 'one' ? BOX_POINTS : BOX_POINTS.slice(0, 8);
      await lapjoint(['add', job, writeInto(folder, `${name}.ply`, plyOf(points)), '--unit', 'mm']);
    }
    const run = await lapjoint(['tie', job, '-', '--json'], null, { input: inPieces(picks) });
    expect(run.exitCode).toBe(0);
    expect(JSON.parse(run.out).ties).toMatchObject([{ frames: ['one', 'two'], count: 3 }]);
  });

  it('with --dry-run reads nothing and says so', async () => {
    const job = await emptyJob();
    const run = await lapjoint(['tie', job, '-', '--dry-run'], null, { input: inPieces(picks) });
    expect(run).toMatchObject({ exitCode: 2, out: '' });
  });
});

describe('the program itself', () => {
  it('takes a real pipe, and ends without waiting for a pipe that it does not need', async () => {
    const job = await emptyJob();
    const bin = join(import.meta.dirname, '..', 'bin', 'lapjoint.mjs');
    const run = (words: readonly string[], input: string): ReturnType<typeof spawnSync> =>
      spawnSync(process.execPath, ['--conditions=source', '--import', 'tsx', bin, ...words], {
        input,
        encoding: 'utf8',
      });
    const added = run(['add', job, '-', '--name', 'box.ply', '--unit', 'mm'], plyOf(BOX_POINTS));
    expect(added).toMatchObject({ status: 0, stderr: '' });
    expect(run(['show', job], plyOf(BOX_POINTS)).stdout).toContain('box.ply');
  });
});
