import { spawnSync } from 'node:child_process';
import { existsSync, mkdtempSync, rmSync, statSync } from 'node:fs';
import { open } from 'node:fs/promises';
import { tmpdir } from 'node:os';
import { basename, join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { makeRunContext, readScanFile, type SurfaceOutput, toScanData, writePly, writeStl } from '@lapjoint/engine';
import { openByteSource } from '@lapjoint/jobs';
import { bumpyRing } from '../race/generated.ts';
import { cpuSeconds, type Measurement, type Peer, type PeerJob, type PeerPlaces, peakMemory } from '../race/job.ts';

const FILES = ['cloud.ply', 'mesh.ply', 'mesh.stl'] as const;
const MEGABYTE = 2 ** 20;

interface Line {
  readonly file?: string;
  readonly run_s?: number;
  readonly vertices?: number;
  readonly triangles?: number;
  readonly peak_mb?: number;
  readonly base_mb?: number;
}

function measurement(path: string, line: Line): Measurement {
  const size = statSync(path).size / MEGABYTE;
  const memory = (line.peak_mb ?? Number.NaN) - (line.base_mb ?? Number.NaN);
  return {
    case: `${basename(path)}, ${Math.round(size)} MB`,
    figures: {
      seconds: line.run_s ?? Number.NaN,
      memory,
      share: memory / size,
      base: line.base_mb ?? Number.NaN,
      vertices: line.vertices ?? Number.NaN,
      triangles: line.triangles ?? Number.NaN,
    },
  };
}

/** Files of 5 M vertices, two of them with 10 M triangles, to arrays ready for use; STL corners welded. */
export const job: PeerJob = {
  name: 'read',
  title: 'reading big files, to mm and ready for use, processor seconds; memory above what the process had before',
  figures: [
    { key: 'seconds', label: 'read', isRaced: true, digits: 2 },
    { key: 'memory', label: 'peak MB above base', isRaced: true, digits: 0 },
    { key: 'share', label: 'peak / file size', isRaced: false, digits: 2 },
    { key: 'base', label: 'base MB', isRaced: false, digits: 0 },
    { key: 'vertices', label: 'vertices', isRaced: false, digits: 0 },
    { key: 'triangles', label: 'triangles', isRaced: false, digits: 0 },
  ],
  peers({ build, data }: PeerPlaces): Peer[] {
    if (!build || !data) return [];
    const folder = join(data, 'big');
    return ['pcl', 'vtk', 'cgal']
      .filter((name) => existsSync(join(build, `read_${name}`)))
      .map((name) => {
        // Each file in a process of its own, since peak memory is one of the figures. VTK has no reader of clouds here.
        const files = FILES.filter(
          (file) => existsSync(join(folder, file)) && !(name === 'vtk' && file === 'cloud.ply'),
        );
        const runs = files.map((file) => `"$0" "$1/${file}" ${file.startsWith('cloud') ? 'cloud' : 'mesh'}`);
        return {
          name,
          command: ['/bin/sh', '-c', runs.join(' && '), join(build, `read_${name}`), folder],
          translate: (line: Line) => (line.file ? [measurement(join(folder, line.file), line)] : []),
        };
      })
      .filter((peer) => peer.command[2] !== '');
  },
  async ours({ data }: PeerPlaces): Promise<Measurement[]> {
    const folder = data ? join(data, 'big') : '';
    if (existsSync(join(folder, 'mesh.stl'))) return FILES.map((file) => readInOwnProcess(join(folder, file)));
    const made = mkdtempSync(join(tmpdir(), 'lapjoint-bench-'));
    try {
      await writeSamples(made);
      return FILES.map((file) => readInOwnProcess(join(made, file)));
    } finally {
      rmSync(made, { recursive: true });
    }
  },
};

function readInOwnProcess(path: string): Measurement {
  const entry = fileURLToPath(import.meta.url);
  const child = spawnSync(process.execPath, [...process.execArgv, entry, path], { encoding: 'utf8' });
  if (child.status !== 0) throw new Error(child.stderr);
  return measurement(path, JSON.parse(child.stdout) as Line);
}

async function readAndTell(path: string): Promise<Line> {
  const base = peakMemory();
  const source = await openByteSource(path);
  const start = cpuSeconds();
  const scan = toScanData(await readScanFile(source, {}, makeRunContext()), 'm', { useUp: true });
  const seconds = cpuSeconds() - start;
  await source.close();
  return {
    run_s: seconds,
    vertices: scan.positions.length / 3,
    triangles: (scan.triangles?.length ?? 0) / 3,
    peak_mb: peakMemory(),
    base_mb: base,
  };
}

/** A tenth of the size of the prepared files. */
async function writeSamples(folder: string): Promise<void> {
  const mesh: SurfaceOutput = { origin: [0, 0, 0], ...bumpyRing(700) };
  const cloud: SurfaceOutput = { origin: [0, 0, 0], positions: mesh.positions, normals: mesh.positions };
  for (const [file, surface] of [
    ['cloud.ply', cloud],
    ['mesh.ply', mesh],
    ['mesh.stl', mesh],
  ] as const) {
    const handle = await open(join(folder, file), 'w');
    const sink = async (chunk: Uint8Array): Promise<void> => {
      await handle.writeFile(chunk);
    };
    if (file.endsWith('stl')) await writeStl(surface, sink, makeRunContext());
    else await writePly(surface, {}, sink, makeRunContext());
    await handle.close();
  }
}

const [, started, path] = process.argv;
if (path && started === fileURLToPath(import.meta.url)) {
  process.stdout.write(`${JSON.stringify(await readAndTell(path))}\n`);
}
