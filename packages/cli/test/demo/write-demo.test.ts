import { mkdtemp, readdir, readFile, rm, writeFile } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import {
  bytesInMemory,
  knownTruthFromDocument,
  makeRunContext,
  readProbedPoints,
  readScanFile,
  readTargetList,
  simulateRopewayCabin,
  toScanData,
} from '@lapjoint/engine';
import { afterAll, beforeAll, describe, expect, it } from 'vitest';
import { demoCommands } from '../../src/demo/demo-guide.ts';
import { type DemoSummary, writeDemo } from '../../src/demo/write-demo.ts';

const small = { size: 'small', seed: 3, force: false } as const;

describe('writeDemo', () => {
  let folder: string;
  let summary: DemoSummary;
  const read = async (name: string) => bytesInMemory(name, await readFile(join(folder, name)));
  beforeAll(async () => {
    folder = await mkdtemp(join(tmpdir(), 'lapjoint-demo-'));
    summary = await writeDemo(folder, small, makeRunContext());
  });
  afterAll(() => rm(folder, { recursive: true, force: true }));

  it('writes the listed files and no other, none of them half', async () => {
    expect((await readdir(folder)).sort()).toEqual([...summary.files].sort());
    expect(summary.files).toEqual(
      expect.arrayContaining(['outside.ply', 'inside.obj', 'mechanism.stl', 'pins.csv', 'truth.json', 'truth.ply']),
    );
  });

  it('writes scans that read back as they were captured, inside in metres', async () => {
    const job = await simulateRopewayCabin({ size: 'small', seed: 3 }, makeRunContext());
    for (const [k, name, unit] of [
      [0, 'outside.ply', 'mm'],
      [2, 'inside.obj', 'm'],
    ] as const) {
      const raw = await readScanFile(await read(name), {}, makeRunContext());
      expect(raw.statedUnit).toBe(unit === 'm' ? null : unit);
      const scan = toScanData(raw, unit);
      const captured = job.scans[k].scan;
      expect(scan.triangles).toEqual(captured.triangles);
      expect(scan.colors === null).toBe(captured.colors === null);
      let largest = 0;
      for (let i = 0; i < scan.positions.length; i++) {
        const d = scan.positions[i] + scan.origin[i % 3] - captured.positions[i] - captured.origin[i % 3];
        largest = Math.max(largest, Math.abs(d));
      }
      // OBJ in metres keeps six digits after the point (1 um), PLY and the scan float32.
      expect(largest).toBeLessThan(2e-3);
    }
    const mechanism = await readScanFile(await read('mechanism.stl'), {}, makeRunContext());
    expect((mechanism.triangles as Uint32Array).length).toBe(job.scans[1].scan.triangles?.length);
  });

  it('writes lists and a truth that read back', async () => {
    const targets = await readTargetList(await read('targets-mechanism.csv'));
    expect(targets.targets).toHaveLength(summary.targets[1].targets);
    expect(targets.statedUnit).toBe('mm');
    const probed = await readProbedPoints(await read('pins.csv'));
    expect(probed.points).toHaveLength(summary.probedPoints);
    expect(new Set(probed.points.map((p) => p.tipRadius))).toEqual(new Set([1.5]));
    const document = JSON.parse(await readFile(join(folder, 'truth.json'), 'utf8'));
    const truth = knownTruthFromDocument(document, null);
    expect(truth.frames.map((f) => f.frame)).toEqual(['outside', 'mechanism', 'inside']);
    expect(() => knownTruthFromDocument({ frames: [{ frame: 'x' }] }, null)).toThrow(/farPointMm/);
    expect(() => knownTruthFromDocument([], null)).toThrow(/truth/);
  });

  it('writes commands that name every data file once and the unit of the one in metres', async () => {
    const commands = JSON.parse(await readFile(join(folder, 'commands.json'), 'utf8')) as string[][];
    expect(commands).toEqual(demoCommands(folder));
    const added = commands.filter((words) => words[0] === 'add').map((words) => words[2]);
    const data = summary.files.filter((f) => /\.(ply|obj|stl|csv)$/.test(f) && f !== 'truth.ply');
    expect(added.sort()).toEqual(data.map((f) => join(folder, f)).sort());
    expect(commands.find((words) => words[2]?.endsWith('inside.obj'))?.slice(-2)).toEqual(['--unit', 'm']);
    expect(await readFile(join(folder, 'README.txt'), 'utf8')).toContain('invented');
  });

  it('refuses a folder that holds something, and leaves it as it was', async () => {
    const full = await mkdtemp(join(tmpdir(), 'lapjoint-demo-'));
    await writeFile(join(full, 'mine.txt'), 'mine');
    await expect(writeDemo(full, small, makeRunContext())).rejects.toMatchObject({ code: 'file-exists' });
    expect(await readdir(full)).toEqual(['mine.txt']);
    await rm(full, { recursive: true });
  });

  it('stops on request and leaves only whole files', async () => {
    const stopped = await mkdtemp(join(tmpdir(), 'lapjoint-demo-'));
    const signal = { aborted: false };
    const onProgress = (_: number, note: string | undefined): void => {
      if (note?.includes('mechanism.stl')) signal.aborted = true;
    };
    await expect(writeDemo(stopped, small, makeRunContext({ signal, onProgress }))).rejects.toThrow(/Stopped/);
    expect((await readdir(stopped)).filter((name) => name.endsWith('.part'))).toEqual([]);
    await rm(stopped, { recursive: true });
  });
});
