import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { openJob } from '@lapjoint/jobs';
import { describe, expect, it } from 'vitest';
import { writeBumpySheets } from '../../../jobs/test/fixtures/bumpy-sheet.ts';
import { lapjoint } from '../fixtures/recorded-console.ts';
import { BOX_POINTS, plyOf, temporaryFolder, writeInto } from '../fixtures/small-scans.ts';

const folder = temporaryFolder();
const box = writeInto(folder, 'box.ply', plyOf(BOX_POINTS, 'unit: mm'));
const targets = writeInto(folder, 'targets.csv', 'name,x_mm,y_mm,z_mm\nT1,0,0,0\nT2,1000,0,0\nT3,0,1000,0\n');
let count = 0;

async function newJob(): Promise<string> {
  const job = join(folder, `job-${count++}`);
  expect((await lapjoint(['new', job])).exitCode).toBe(0);
  return job;
}

/** The file of a PLY with its coordinates multiplied. */
function grown(path: string, factor: number, name: string): string {
  const [header = '', body = ''] = readFileSync(path, 'utf8').split('end_header\n');
  const vertices = Number(/element vertex (\d+)/.exec(header)?.[1]);
  const lines = body.split('\n').map((line, i) =>
    i < vertices
      ? line
          .split(' ')
          .map((x) => factor * Number(x))
          .join(' ')
      : line,
  );
  return writeInto(folder, name, `${header}end_header\n${lines.join('\n')}`);
}

describe('add --temperature', () => {
  it('keeps temperature and coefficient with the session; raw coordinates stay, show states the factor', async () => {
    const job = await newJob();
    const words = ['--session', 'roof', '--temperature', '-3.5', '--temperature-u', '0.5', '--material', 'aluminium'];
    expect((await lapjoint(['add', job, box, ...words])).exitCode).toBe(0);
    expect((await lapjoint(['add', job, targets, '--session', 'roof'])).exitCode).toBe(0);
    const { document } = await openJob(job);
    expect(document.sessions).toHaveLength(1);
    expect(document.sessions[0]?.thermal).toMatchObject({ temperatureCelsius: -3.5, temperatureUncertainty: 0.5 });
    expect(document.scans[0]?.bounds.max).toEqual([400, 200, 100]);
    const shown = JSON.parse((await lapjoint(['show', job, '--json'])).out);
    const factor = 1 / (1 + (document.sessions[0]?.thermal?.expansion ?? 0) * -23.5);
    expect(shown.scans[0].lengthFactorTo20Celsius).toBeCloseTo(factor, 12);
    expect(shown.lists[0].lengthFactorTo20Celsius).toBeCloseTo(factor, 12);
    expect((await lapjoint(['show', job])).out).toMatch(/-3\.5 °C ± 1\.0 K \(k = 2\), aluminium/);
  });

  it('refuses half statements, contradictions and nonsense with exit code 2 and what to do', async () => {
    const job = await newJob();
    const added = async (...words: string[]) => lapjoint(['add', job, box, '--session', 'roof', ...words]);
    for (const [code, words] of [
      ['temperature-incomplete', ['--temperature', '23']],
      ['temperature-incomplete', ['--material', 'steel']],
      ['temperature-incomplete', ['--temperature', '23', '--material', 'steel', '--expansion', '1e-5']],
      ['temperature-invalid', ['--temperature', '296', '--material', 'steel']],
      ['temperature-invalid', ['--temperature', '23', '--expansion', '11.5']],
      ['unknown-name', ['--temperature', '23', '--material', 'cheese']],
    ] as const) {
      const run = await added(...words);
      expect([code, run.exitCode]).toEqual([code, 2]);
      expect(run.error).toContain(`code: ${code}`);
      expect(run.error).toContain('what to do:');
    }
    expect((await added('--temperature', 'warm', '--material', 'steel')).exitCode).toBe(2);
    expect((await openJob(job)).document.scans).toEqual([]);
    expect((await added('--temperature', '23', '--material', 'steel')).exitCode).toBe(0);
    const clash = await lapjoint([
      ...['add', job, targets, '--session', 'roof', '--temperature', '25', '--material', 'steel'],
    ]);
    expect(clash.exitCode).toBe(2);
    expect(clash.error).toContain('temperature-conflict');
  });

  it('aligns a scan of the grown object with one of the object at 20 degrees, and says so in its matrix', async () => {
    const [left, right] = writeBumpySheets(folder, 24);
    const job = await newJob();
    // An absurd coefficient, so that the sheet of 48 mm grows by 1.4 mm against 0.02 mm of noise.
    const [temperature, expansion] = [120, 3e-4];
    const growth = 1 + expansion * (temperature - 20);
    const warm = grown(right, growth, 'warm.ply');
    expect((await lapjoint(['add', job, left])).exitCode).toBe(0);
    const words = ['--temperature', `${temperature}`, '--expansion', `${expansion}`];
    expect((await lapjoint(['add', job, warm, ...words])).exitCode).toBe(0);
    const run = await lapjoint(['align', job, '--json', '--workers', '1']);
    expect(run.exitCode).toBe(0);
    const { poses, ties } = JSON.parse(run.out);
    const f = 1 / growth;
    const expected = [f, 0, 0, 0, 0, f, 0, 0, 0, 0, f, 0, 0, 0, 0, 1];
    poses[1].jobFromScan.forEach((value: number, i: number) => {
      expect(Math.abs(value - (expected[i] ?? 0))).toBeLessThan([3, 7, 11].includes(i) ? 0.2 : 0.006);
    });
    expect(ties[0].rmsMm).toBeLessThan(0.06);
    const { document } = await openJob(job);
    const box = document.scans[1]?.bounds;
    expect((box?.max[1] ?? 0) - (box?.min[1] ?? 0)).toBeCloseTo(46 * growth, 3);
    // The second alignment has nothing to do; another temperature makes the first one old.
    expect(JSON.parse((await lapjoint(['align', job, '--json'])).out).reused).toBe(true);
    const later = ['--session', 'left', '--temperature', '21', '--material', 'steel'];
    expect((await lapjoint(['add', job, targets, ...later])).exitCode).toBe(0);
    expect(JSON.parse((await lapjoint(['show', job, '--json'])).out).adjustment.upToDate).toBe(false);
  });
});

describe('align --estimate-scale', () => {
  it('knows the classes of instruments, and refuses one that the job does not have', async () => {
    const job = await newJob();
    await lapjoint(['add', job, box, '--instrument', 'tracked-laser']);
    expect((await lapjoint(['align', job, '--estimate-scale', 'ruler'])).exitCode).toBe(2);
    const run = await lapjoint(['align', job, '--estimate-scale', 'handheld-laser']);
    expect(run.exitCode).toBe(2);
    expect(run.error).toContain('The scale of these can be estimated: tracked-laser.');
  });
});
