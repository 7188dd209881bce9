import { readdir, rename, rm } from 'node:fs/promises';
import { join, resolve } from 'node:path';
import {
  AppError,
  type ByteSink,
  CAUTIONS,
  ENGINE_VERSION,
  type Finding,
  type RunContext,
  renderReport,
  type SurfaceOutput,
  type TextCatalogue,
  translateReport,
  writeGlb,
  writeObj,
  writePly,
  writeStl,
  writeTargetList,
} from '@lapjoint/engine';
import type { JobStore } from '../store/job-store.ts';
import { decodeScanBlob } from '../store/scan-blob.ts';
import { storageError } from '../store/storage-files.ts';
import { decodeSurfaceAttributes } from '../store/surface-blob.ts';
import { changeJob, contextOf, type OperationHost } from './change-job.ts';
import { commandsOfHistory } from './commands-of-history.ts';
import { type HandoverFile, jsonText, writeHandoverFile, writeHandoverText } from './handover-files.ts';
import { posesCsv, probedPointsCsv, targetsInJobFrame } from './handover-tables.ts';
import { mergedCloud } from './merged-cloud.ts';
import { expandedUncertainty, findingsOfJob, reportInputOfJob } from './report-input-of-job.ts';
import { placedScans, resultsUpToDate } from './result-record.ts';
import { shownJob } from './show-job.ts';

/** How to hand over. */
export interface HandOverOptions {
  /** Write over files of an earlier handover in the same folder. */
  readonly force?: boolean;
  /** The `truth.json` of a simulated job, for the report. */
  readonly truth?: string;
}

/** What was handed over. */
export interface HandOverResult {
  readonly folder: string;
  readonly files: readonly HandoverFile[];
  readonly findings: readonly Finding[];
}

/**
 * Writes the package that leaves the house: model, cloud, poses, targets, report, record, manifest with hashes.
 *
 * The folder appears whole or not at all: everything is written beside it first. Into a folder that exists, files
 * are moved only when forced, and files of other names stay.
 *
 * @throws AppError `not-aligned`, `not-fused`, `folder-not-empty`, `disk-full`, `no-rights`
 */
export async function handOver(
  folder: string,
  output: string,
  options: HandOverOptions,
  host: OperationHost,
): Promise<HandOverResult> {
  const target = resolve(output);
  return changeJob(folder, host.storage, async (store) => {
    refuseUnfinished(store);
    const present = await readdir(target).catch((error: NodeJS.ErrnoException) => {
      if (error.code === 'ENOENT') return null;
      throw storageError(error, target);
    });
    if (present !== null && present.length > 0 && options.force !== true) {
      throw new AppError(
        'folder-not-empty',
        `${output} exists and holds files.`,
        'Give the name of a new folder, or use --force to write over files of an earlier handover.',
      );
    }
    const context = contextOf(host, store.document.seed);
    const temporary = `${target}.${process.pid}.part`;
    try {
      await store.files.ensureFolder(temporary);
      const files = await writeAll(store, temporary, options, host.catalogue ?? null, context);
      await moveInto(temporary, target, present, store);
      await store.noteExport(
        files.map(({ name, sha256 }) => ({ path: join(target, name), sha256 })),
        `hand over ${target}`,
      );
      return { folder: target, files, findings: findingsOfJob(store.document) };
    } finally {
      await rm(temporary, { recursive: true, force: true });
    }
  });
}

function refuseUnfinished(store: JobStore): void {
  const { alignment, fused } = store.document;
  if (alignment === null) {
    throw new AppError('not-aligned', 'The scans of this job are not aligned yet.', 'Run align and fuse first.');
  }
  if (fused === null) throw new AppError('not-fused', 'This job has no fused surface yet.', 'Run fuse first.');
  const upToDate = resultsUpToDate(store.document);
  if (!upToDate.alignment || !upToDate.fused) {
    throw new AppError(
      'result-out-of-date',
      'The job was changed since it was aligned and fused.',
      'Run align and fuse again, then hand over.',
    );
  }
}

async function moveInto(
  temporary: string,
  target: string,
  present: readonly string[] | null,
  store: JobStore,
): Promise<void> {
  try {
    if (present === null || present.length === 0) {
      if (present !== null) await rm(target, { recursive: true });
      await rename(temporary, target);
    } else {
      for (const name of await readdir(temporary)) await rename(join(temporary, name), join(target, name));
    }
  } catch (error) {
    throw storageError(error, target);
  }
  await store.files.syncFolder(resolve(target, '..'));
}

async function fusedOutput(store: JobStore): Promise<SurfaceOutput> {
  const { fused } = store.document;
  if (fused === null) throw new TypeError('There is no fused surface.');
  const scan = decodeScanBlob(await store.blobs.get(fused.surfaceSha256));
  if (fused.attributesSha256 === null) return scan;
  const attributes = decodeSurfaceAttributes(await store.blobs.get(fused.attributesSha256));
  return {
    ...scan,
    uncertainty: expandedUncertainty(attributes),
    properties: { scan_number: Float32Array.from(attributes.dominantSource, (source) => source + 1) },
  };
}

async function writeAll(
  store: JobStore,
  folder: string,
  options: HandOverOptions,
  catalogue: TextCatalogue | null,
  context: RunContext,
): Promise<HandoverFile[]> {
  const { document } = store;
  const files: HandoverFile[] = [];
  const surface = await fusedOutput(store);
  const fusedIds = document.fused?.scans ?? [];
  const comments = [
    'fused surface; uncertainty_mm is expanded, k = 2, in the most uncertain direction',
    ...numbering(fusedIds),
  ];
  const models: readonly (readonly [string, string, (sink: ByteSink, part: RunContext) => Promise<unknown>])[] = [
    [
      'model.ply',
      'fused surface, mm, with colour (where captured), uncertainty and main scan',
      (sink, part) => writePly(surface, { comments }, sink, part),
    ],
    ['model.stl', 'fused surface, mm, shape only', (sink, part) => writeStl(surface, sink, part)],
    ['model.obj', 'fused surface, mm, with colour where captured', (sink, part) => writeObj(surface, sink, part)],
    ['model.glb', 'fused surface, metres, +Y up', (sink, part) => writeGlb(surface, sink, part)],
  ];
  for (const [i, [name, content, write]] of models.entries()) {
    const part = context.part(0.12 * i, 0.12 * (i + 1));
    part.progress(0, `writing ${name}`);
    files.push(await writeHandoverFile(folder, name, content, (sink) => write(sink, part)));
  }
  const cloud = await mergedCloud(document, store.blobs, context.part(0.48, 0.6));
  if (cloud !== null) {
    const part = context.part(0.6, 0.7);
    const notes = ['points of all placed scans', ...numbering(placedScans(document).map((scan) => scan.id))];
    files.push(
      await writeHandoverFile(folder, 'cloud.ply', 'points of all placed scans, mm', (sink) =>
        writePly(cloud, { comments: notes }, sink, part),
      ),
    );
  }
  files.push(...(await writeTables(store, folder, context.part(0.7, 0.75))));
  const input = await reportInputOfJob(store, options.truth ?? null, context.part(0.75, 0.95));
  const report = translateReport(renderReport(input), catalogue);
  files.push(await writeHandoverText(folder, 'report.html', 'the report', report));
  files.push(await writeHandoverText(folder, 'record.json', 'how to repeat it', jsonText(recordOf(store))));
  files.push(await writeHandoverText(folder, 'manifest.json', 'this list', jsonText(manifestOf(store, files))));
  await context.checkpoint(1);
  return files;
}

function numbering(scanIds: readonly string[]): string[] {
  return scanIds.map((id, i) => `scan_number ${i + 1} is ${id}`);
}

async function writeTables(store: JobStore, folder: string, context: RunContext): Promise<HandoverFile[]> {
  const { document } = store;
  const job = shownJob(document, { alignment: true, fused: true });
  const { poses, ties, adjustment } = job;
  const files = [
    await writeHandoverText(
      folder,
      'poses.json',
      'where each scan lies, with covariances, ties and adjustment',
      jsonText({ schema: 'lapjoint/poses', schemaVersion: 1, engineVersion: ENGINE_VERSION, poses, ties, adjustment }),
    ),
    await writeHandoverText(folder, 'poses.csv', 'where each scan lies: jobFromScan, row-major, mm', posesCsv(job)),
  ];
  const { targets } = targetsInJobFrame(document);
  files.push(
    await writeHandoverFile(folder, 'targets.csv', 'targets in the frame of the job, mm', (sink) =>
      writeTargetList(targets, sink, context),
    ),
  );
  if (document.probeSets.length > 0) {
    const text = probedPointsCsv(document);
    files.push(await writeHandoverText(folder, 'probed-points.csv', 'probed points in the frame of the job, mm', text));
  }
  return files;
}

/** What another person needs to repeat the job: sources with hashes, commands, records of the results. */
function recordOf(store: JobStore): object {
  const { document, history } = store;
  const items = [...document.scans, ...document.targetLists, ...document.probeSets];
  return {
    schema: 'lapjoint/record',
    schemaVersion: 1,
    engineVersion: ENGINE_VERSION,
    seed: document.seed,
    sources: items.map(({ id, session, frame, unit, source }) => ({ id, session, frame, unit, ...source })),
    commands: commandsOfHistory(history, document.name),
    alignment: document.alignment?.record ?? null,
    fused: document.fused?.record ?? null,
  };
}

function manifestOf(store: JobStore, files: readonly HandoverFile[]): object {
  return {
    schema: 'lapjoint/manifest',
    schemaVersion: 1,
    engineVersion: ENGINE_VERSION,
    job: store.document.name,
    files,
    findings: findingsOfJob(store.document),
    cautions: CAUTIONS,
  };
}
