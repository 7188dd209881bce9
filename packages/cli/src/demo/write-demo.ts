import { readdir } from 'node:fs/promises';
import { join } from 'node:path';
import {
  AppError,
  type ByteSink,
  knownTruthDocument,
  type ProbedPoint,
  type RunContext,
  type ScanData,
  type SimulatedJob,
  simulateRopewayCabin,
  writeObj,
  writePly,
  writeStl,
  writeTargetList,
} from '@lapjoint/engine';
import { demoCommands, demoReadme } from './demo-guide.ts';
import { writeFileThrough, writeTextFile } from './write-file.ts';

/** Choices of the demo. */
export interface DemoOptions {
  readonly size: 'small' | 'full';
  readonly seed: number;
  /** Write into a folder that holds something already. */
  readonly force: boolean;
}

/** What was written. */
export interface DemoSummary {
  readonly folder: string;
  readonly files: readonly string[];
  readonly scans: readonly { readonly file: string; readonly points: number; readonly triangles: number }[];
  readonly targets: readonly { readonly file: string; readonly targets: number }[];
  readonly probedPoints: number;
}

async function refuseFullFolder(folder: string): Promise<void> {
  const names = await readdir(folder).catch((error: NodeJS.ErrnoException) => {
    if (error.code === 'ENOENT') return [];
    throw new AppError('folder-unusable', `${folder} cannot be used as a folder.`, 'Name another folder.', {
      cause: error,
    });
  });
  if (names.length > 0) {
    throw new AppError(
      'file-exists',
      `${folder} is not empty.`,
      'Name a new folder, or allow overwriting with --force.',
    );
  }
}

/** The scan in metres, for a file whose unit must be stated by whoever adds it. */
function inMetres(scan: ScanData): ScanData {
  const [x, y, z] = scan.origin;
  return {
    ...scan,
    origin: [x / 1000, y / 1000, z / 1000],
    positions: scan.positions.map((p) => p / 1000),
  };
}

/** Leaves out the writer's first line, which states mm. */
function withoutUnitLine(sink: ByteSink): ByteSink {
  let isFirst = true;
  return (chunk) => {
    const from = isFirst ? chunk.indexOf(10) + 1 : 0;
    isFirst = false;
    return sink(chunk.subarray(from));
  };
}

function probedText(points: readonly ProbedPoint[]): string {
  const rows = points.map(({ feature, position, approach, tipRadius, sigma }) =>
    [
      feature,
      ...position.map((x) => x.toFixed(6)),
      ...(approach ?? [0, 0, 0]).map((x) => x.toFixed(6)),
      tipRadius,
      sigma,
    ].join(','),
  );
  return `feature,x_mm,y_mm,z_mm,i,j,k,tip_radius,sigma_mm\n${rows.join('\n')}\n`;
}

async function writeScans(job: SimulatedJob, folder: string, context: RunContext): Promise<string[]> {
  const scanOf = (name: string): ScanData => {
    const found = job.scans.find((s) => s.name === name);
    if (!found) throw new Error(`The demo has no scan ${name}.`);
    return found.scan;
  };
  const note = { comments: ['invented data: a simulated capture'] };
  const writers: readonly (readonly [string, (sink: ByteSink, part: RunContext) => Promise<unknown>])[] = [
    ['outside.ply', (sink, part) => writePly(scanOf('outside'), note, sink, part)],
    ['mechanism.stl', (sink, part) => writeStl(scanOf('mechanism'), sink, part)],
    ['inside.obj', (sink, part) => writeObj(inMetres(scanOf('inside')), withoutUnitLine(sink), part)],
    ['truth.ply', (sink, part) => writePly(job.truth.surface, note, sink, part)],
  ];
  for (const [k, [name, write]] of writers.entries()) {
    context.progress(k / writers.length, `writing ${name}`);
    const part = context.part(k / writers.length, (k + 1) / writers.length);
    await writeFileThrough(join(folder, name), (sink) => write(sink, part));
  }
  return writers.map(([name]) => name);
}

/**
 * Captures the demo object with virtual instruments and writes what they would have delivered, with the truth beside it.
 *
 * @param folder new or empty, unless forced
 * @throws AppError `file-exists` when it holds something; CancelledError when stopped, leaving whole files only
 */
export async function writeDemo(folder: string, options: DemoOptions, context: RunContext): Promise<DemoSummary> {
  if (!options.force) await refuseFullFolder(folder);
  const job = await simulateRopewayCabin({ size: options.size, seed: options.seed }, context.part(0, 0.85));
  const files = await writeScans(job, folder, context.part(0.85, 0.98));
  for (const list of job.targetLists) {
    const name = `${list.name}.csv`;
    await writeFileThrough(join(folder, name), (sink) => writeTargetList(list.targets, sink, context.part(0.98, 0.98)));
    files.push(name);
  }
  const texts: readonly (readonly [string, string])[] = [
    ['pins.csv', probedText(job.probed.points)],
    ['truth.json', `${JSON.stringify(knownTruthDocument(job), null, 1)}\n`],
    ['commands.json', `${JSON.stringify(demoCommands(folder), null, 1)}\n`],
    ['README.txt', demoReadme(job, folder)],
  ];
  for (const [name, text] of texts) {
    await writeTextFile(join(folder, name), text);
    files.push(name);
  }
  await context.checkpoint(1, 'demo written');
  return {
    folder,
    files,
    scans: job.scans.map(({ name, scan }) => ({
      file: files.find((file) => file.startsWith(`${name}.`)) ?? name,
      points: scan.positions.length / 3,
      triangles: (scan.triangles?.length ?? 0) / 3,
    })),
    targets: job.targetLists.map(({ name, targets }) => ({ file: `${name}.csv`, targets: targets.length })),
    probedPoints: job.probed.points.length,
  };
}
