import { appendFileSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { openJob } from '@lapjoint/jobs';
import { describe, expect, it } from 'vitest';
import { lapjoint } from '../fixtures/recorded-console.ts';
import { BOX_POINTS, plyOf, temporaryFolder, writeInto } from '../fixtures/small-scans.ts';

const folder = temporaryFolder();
const box = writeInto(folder, 'box.ply', plyOf(BOX_POINTS));
const boxInMm = writeInto(folder, 'box-mm.ply', plyOf(BOX_POINTS, 'unit: mm'));
let count = 0;

async function newJob(): Promise<string> {
  const job = join(folder, `job-${count++}`);
  expect((await lapjoint(['new', job])).exitCode).toBe(0);
  return job;
}

describe('new', () => {
  it('makes a job and never makes one over another', async () => {
    const job = join(folder, 'made');
    const first = await lapjoint(['new', job, '--name', 'Cabin 12', '--seed', '7', '--json']);
    expect(first.exitCode).toBe(0);
    expect(JSON.parse(first.out)).toMatchObject({ schema: 'lapjoint/new', name: 'Cabin 12', seed: 7 });
    const second = await lapjoint(['new', job]);
    expect(second).toMatchObject({ exitCode: 1, out: '' });
    expect(second.error).toContain('is a job already');
  });

  it('with --dry-run only says what it would do', async () => {
    const job = join(folder, 'dry');
    expect((await lapjoint(['new', job, '--dry-run'])).out).toContain('Would make a job');
    expect((await lapjoint(['show', job])).exitCode).toBe(3);
  });
});

describe('add', () => {
  it('takes each file as a session with a frame of its own, named after it', async () => {
    const job = await newJob();
    const run = await lapjoint(['add', job, box, boxInMm, '--unit', 'mm', '--force', '--json']);
    expect(run.exitCode).toBe(0);
    const { scans, refused } = JSON.parse(run.out);
    expect(refused).toEqual([]);
    expect(scans).toMatchObject([
      { id: 'scan-1', name: 'box.ply', session: 'box', frame: 'box', points: 9, triangles: 0, unit: 'mm' },
      { id: 'scan-2', name: 'box-mm.ply', session: 'box-mm', frame: 'box-mm' },
    ]);
    expect(scans[0].boundsMm).toEqual({ min: [0, 0, 0], max: [400, 200, 100] });
  });

  it('shares a frame where --frame says so, and refuses a session in two frames', async () => {
    const job = await newJob();
    await lapjoint(['add', job, box, '--session', 'outside', '--unit', 'mm', '--instrument', 'tracked-laser']);
    const pins = await lapjoint(['add', job, boxInMm, '--session', 'pins', '--frame', 'outside', '--json']);
    expect(JSON.parse(pins.out).scans).toMatchObject([{ session: 'pins', frame: 'outside', unitFrom: 'file' }]);
    const clash = await lapjoint(['add', job, boxInMm, '--session', 'pins', '--frame', 'other', '--force']);
    expect(clash.exitCode).toBe(2);
    expect(clash.error).toContain('frame-conflict');
    expect((await openJob(job)).document.frames).toEqual(['outside']);
  });

  it('keeps two files of equal name apart', async () => {
    const job = await newJob();
    const other = writeInto(temporaryFolder(), 'box.ply', plyOf(BOX_POINTS.slice(1)));
    const run = await lapjoint(['add', job, box, other, '--unit', 'mm', '--json']);
    expect(JSON.parse(run.out).scans.map((scan: { frame: string }) => scan.frame)).toEqual(['box', 'box-2']);
  });

  it('refuses a file of unknown unit with a proposal when nobody can be asked', async () => {
    const job = await newJob();
    const run = await lapjoint(['add', job, box]);
    expect(run.exitCode).toBe(3);
    expect(run.error).toContain('unit-unknown');
    expect(run.error).toContain('Proposed: --unit mm');
    expect((await openJob(job)).document.scans).toEqual([]);
  });

  it('asks for the unit at a terminal; Enter takes the proposal, nonsense is asked again, no leaves the file out', async () => {
    const job = await newJob();
    const enter = await lapjoint(['add', job, box], ['']);
    expect(enter.exitCode).toBe(0);
    expect(enter.error).toContain('does not state its length unit');
    const inches = await lapjoint(['add', job, box, '--force'], ['elephants', 'in']);
    expect(inches.exitCode).toBe(0);
    const no = await lapjoint(['add', job, box, '--force'], ['no']);
    expect(no.exitCode).toBe(3);
    const forbidden = await lapjoint(['add', job, box, '--force', '--no-input'], []);
    expect(forbidden.exitCode).toBe(3);
    const { scans } = (await openJob(job)).document;
    expect(scans.map((scan) => [scan.unit, scan.bounds.max[0]])).toEqual([
      ['mm', 400],
      // 400 inches of 25.4 mm.
      ['in', 10160],
    ]);
  });

  it('warns when the stated unit is not the one in the file', async () => {
    const job = await newJob();
    const run = await lapjoint(['add', job, boxInMm, '--unit', 'm']);
    expect(run.exitCode).toBe(0);
    expect(run.error).toContain('The file states mm, but m was stated');
  });

  it('adds the good files and lists the bad ones with the reason', async () => {
    const job = await newJob();
    const bad = writeInto(folder, 'empty.ply', '');
    const run = await lapjoint(['add', job, bad, box, join(folder, 'nowhere.ply'), '--unit', 'mm', '--json']);
    expect(run.exitCode).toBe(3);
    const { scans, refused } = JSON.parse(run.out);
    expect(scans.map((scan: { name: string }) => scan.name)).toEqual(['box.ply']);
    expect(refused.map((file: { code: string }) => file.code)).toEqual(['file-empty', 'file-missing']);
    expect((await openJob(job)).document.scans).toHaveLength(1);
  });

  it('does not take the same content twice by mistake', async () => {
    const job = await newJob();
    await lapjoint(['add', job, box, '--unit', 'mm']);
    const again = await lapjoint(['add', job, box, '--unit', 'mm', '--session', 'other']);
    expect(again.exitCode).toBe(3);
    expect(again.error).toContain('already-added');
  });

  it('with --dry-run lists files with sizes and an estimate, and adds nothing', async () => {
    const job = await newJob();
    const run = await lapjoint(['add', job, box, '--dry-run', '--json']);
    expect(run.exitCode).toBe(0);
    expect(JSON.parse(run.out)).toMatchObject({ dryRun: true, estimate: { timeSecondsHigh: expect.any(Number) } });
    expect((await openJob(job)).document.scans).toEqual([]);
  });
});

describe('show, log, undo, redo', () => {
  it('show --json holds what is promised, before anything is aligned', async () => {
    const job = await newJob();
    await lapjoint(['add', job, boxInMm]);
    const shown = JSON.parse((await lapjoint(['show', job, '--json'])).out);
    expect(Object.keys(shown)).toEqual(
      expect.arrayContaining(['schema', 'schemaVersion', 'scans', 'poses', 'ties', 'adjustment', 'fused']),
    );
    expect(shown.scans[0]).toMatchObject({
      id: 'scan-1',
      name: 'box-mm.ply',
      sha256: expect.stringMatching(/^[0-9a-f]{64}$/),
    });
    expect(shown.poses).toMatchObject([{ scan: 'scan-1', jobFromScan: null, covariance: null, status: 'not-aligned' }]);
    expect(shown).toMatchObject({ ties: [], adjustment: null, fused: null });
  });

  it('undo names what it takes back, redo what it brings back, log tells both', async () => {
    const job = await newJob();
    await lapjoint(['add', job, box, '--unit', 'mm']);
    expect((await lapjoint(['undo', job, '--dry-run'])).out).toBe('Would undo: add box.ply\n');
    expect((await lapjoint(['undo', job])).out).toBe('Taken back: add box.ply\n');
    expect((await openJob(job)).document.scans).toEqual([]);
    expect((await lapjoint(['undo', job])).exitCode).toBe(1);
    expect((await lapjoint(['redo', job])).out).toBe('Brought back: add box.ply\n');
    expect((await lapjoint(['redo', job])).error).toContain('nothing-to-redo');
    const { entries } = JSON.parse((await lapjoint(['log', job, '--json'])).out);
    expect(entries.map((entry: { kind: string }) => entry.kind)).toEqual(['change', 'change', 'undo', 'redo']);
  });
});

describe('verify', () => {
  it('tells intact from moved, changed, missing and damaged', async () => {
    const job = await newJob();
    const source = writeInto(folder, 'moving.ply', plyOf(BOX_POINTS, 'unit: mm'));
    await lapjoint(['add', job, source]);
    const report = async (): Promise<Record<string, unknown>> =>
      JSON.parse((await lapjoint(['verify', job, '--json'])).out);
    expect(await report()).toMatchObject({ intact: true, sources: [{ path: source, state: 'intact' }] });
    appendFileSync(source, '\n');
    expect(await report()).toMatchObject({ intact: true, sources: [{ state: 'changed' }] });
    rmSync(source);
    expect(await report()).toMatchObject({ intact: true, sources: [{ state: 'missing' }] });
    const store = await openJob(job);
    const blob = store.blobs.pathOf(store.document.scans[0]?.dataSha256 ?? '');
    const bytes = readFileSync(blob);
    bytes[bytes.length - 1] = (bytes[bytes.length - 1] ?? 0) ^ 1;
    writeFileSync(blob, bytes);
    expect(await report()).toMatchObject({ intact: false, blobs: [{ state: 'changed' }] });
    expect((await lapjoint(['verify', job])).exitCode).toBe(4);
    rmSync(blob);
    expect(await report()).toMatchObject({ intact: false, blobs: [{ state: 'missing' }] });
    const journal = join(job, 'journal.jsonl');
    const text = readFileSync(journal, 'utf8');
    writeFileSync(journal, text.replace('moving', 'moring'));
    expect(await report()).toMatchObject({ intact: false, journal: { damage: { line: 2 } } });
    const show = await lapjoint(['show', job]);
    expect(show.exitCode).toBe(3);
    expect(show.error).toContain('journal-damaged');
  });
});

describe('the command line itself', () => {
  it('suggests the command that was meant, with exit code 2 for wrong usage', async () => {
    const typo = await lapjoint(['undp', 'x']);
    expect(typo).toMatchObject({ exitCode: 2, out: '' });
    expect(typo.error).toContain('Did you mean undo?');
    for (const words of [
      [],
      ['new'],
      ['new', 'x', '--seed', '1.5'],
      ['add', 'x', 'y', '--unit', 'ell'],
      ['show', 'x', '--jsonn'],
    ]) {
      expect((await lapjoint(words)).exitCode).toBe(2);
    }
  });

  it('shows help with examples first, and the version', async () => {
    const help = await lapjoint(['add', '-h']);
    expect(help.exitCode).toBe(0);
    expect(help.out.indexOf('Examples:')).toBeLessThan(help.out.indexOf('Usage:'));
    expect(help.out.indexOf('Examples:')).toBe(0);
    expect((await lapjoint(['--version'])).out).toMatch(/^\d+\.\d+\.\d+\n$/);
  });

  it('prints an error as JSON too when JSON was asked for', async () => {
    const run = await lapjoint(['show', join(folder, 'none'), '--json']);
    expect(run.exitCode).toBe(3);
    expect(JSON.parse(run.out)).toMatchObject({ schema: 'lapjoint/show', error: { code: 'not-a-job' } });
  });

  it('writes events as one JSON object a line', async () => {
    const job = await newJob();
    const run = await lapjoint(['add', job, box, '--unit', 'mm', '--events', '--json']);
    const events = run.error
      .trimEnd()
      .split('\n')
      .map((line) => JSON.parse(line));
    expect(events.length).toBeGreaterThan(0);
    expect(events.every((event) => typeof event.event === 'string' && event.command === 'add')).toBe(true);
    expect(events.at(-1)).toMatchObject({ event: 'progress', fraction: 1 });
  });
});

describe('add: lists', () => {
  it('takes target lists and probed points, told from their content, with their sessions', async () => {
    const job = await newJob();
    const targets = writeInto(folder, 'targets-roof.csv', 'name,x_mm,y_mm,z_mm\nT1,0,0,0\nT2,100,0,0\nT3,0,100,0\n');
    const pins = writeInto(folder, 'pins.csv', 'feature,x,y,z,i,j,k,tip_radius,sigma\npin,1,2,3,0,0,1,1.5,0.02\n');
    const run = await lapjoint([
      'add',
      job,
      targets,
      '--session',
      'mechanism',
      '--instrument',
      'handheld-laser',
      '--json',
    ]);
    expect(run.exitCode).toBe(0);
    expect(JSON.parse(run.out).lists).toMatchObject([
      {
        id: 'targets-1',
        name: 'targets-roof.csv',
        session: 'mechanism',
        frame: 'mechanism',
        kind: 'targets',
        count: 3,
      },
    ]);
    const probe = await lapjoint([
      'add',
      job,
      pins,
      '--session',
      'pins',
      '--frame',
      'mechanism',
      '--unit',
      'cm',
      '--json',
    ]);
    expect(probe.exitCode).toBe(0);
    const { document } = await openJob(job);
    expect(document.targetLists[0]?.targets[1]).toEqual({ name: 'T2', position: [100, 0, 0], sigma: 0.03 });
    // 1 cm is 10 mm; the tip radius and sigma too are in the file's unit.
    expect(document.probeSets[0]?.points[0]).toMatchObject({ position: [10, 20, 30], tipRadius: 15, sigma: 0.2 });
    expect(document.frames).toEqual(['mechanism']);
    expect((await lapjoint(['add', job, targets])).exitCode).toBe(3);
  });

  it('names the line of a fault', async () => {
    const job = await newJob();
    const targets = writeInto(folder, 'twice.csv', 'name,x_mm,y_mm,z_mm\nT1,0,0,0\nT1,100,0,0\n');
    const run = await lapjoint(['add', job, targets, '--json']);
    expect(run.exitCode).toBe(3);
    expect(JSON.parse(run.out).refused[0]).toMatchObject({ place: { line: 3 } });
  });
});
