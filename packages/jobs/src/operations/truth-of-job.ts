import { readFile } from 'node:fs/promises';
import { dirname, join } from 'node:path';
import {
  compareWithTruth,
  FormatError,
  formatLength,
  formatPercent,
  type KnownTruth,
  knownTruthFromDocument,
  type ReportInput,
  type RunContext,
  readScanFile,
  type TruthComparison,
  toScanData,
} from '@lapjoint/engine';
import { type JobStore, openJob } from '../store/job-store.ts';
import { decodeScanBlob } from '../store/scan-blob.ts';
import { contextOf, type OperationHost } from './change-job.ts';
import { inputFileError } from './hash-file.ts';
import { loadScan } from './load-scan.ts';
import { withSource } from './read-input-file.ts';

/** Reads what `demo` wrote as the truth, with the true surface `truth.ply` beside it where there is one. */
async function readTruth(path: string, context: RunContext): Promise<KnownTruth> {
  let document: unknown;
  try {
    document = JSON.parse(await readFile(path, 'utf8'));
  } catch (error) {
    if (!(error instanceof SyntaxError)) throw inputFileError(error, path);
    throw new FormatError('truth-unreadable', `${path} is no JSON.`, 'Give the truth.json that demo wrote.', {
      file: path,
    });
  }
  const surfacePath = join(dirname(path), 'truth.ply');
  const surface = await withSource(surfacePath, (source) => readScanFile(source, {}, context)).then(
    (raw) => toScanData(raw, raw.statedUnit ?? 'mm'),
    (error: unknown) => {
      if (error instanceof FormatError && error.code === 'file-missing') return null;
      throw error;
    },
  );
  return knownTruthFromDocument(document, surface);
}

/**
 * Compares the results of a simulated job with its truth, as they are. Null when the job is not aligned.
 *
 * @param path of the `truth.json` that `demo` wrote
 * @throws FormatError `file-missing`; AppError `truth-unreadable`
 */
export async function truthOfStore(
  store: JobStore,
  path: string,
  context: RunContext,
): Promise<TruthComparison | null> {
  const { document, blobs } = store;
  const truth = await readTruth(path, context.part(0, 0.3));
  if (document.alignment === null) return null;
  const scans = [];
  for (const scan of document.scans) {
    scans.push({ frame: scan.frame, scan: await loadScan(blobs, document, scan) });
    await context.checkpoint(0.3 + (0.4 * scans.length) / document.scans.length, 'comparing with the truth');
  }
  const fused = document.fused === null ? null : decodeScanBlob(await blobs.get(document.fused.surfaceSha256));
  const comparison = compareWithTruth({ frames: document.alignment.result.frames, scans, fused }, truth);
  await context.checkpoint(1);
  return comparison;
}

/** As `truthOfStore`, for a job folder. Needs no lock. */
export async function truthOfJob(
  folder: string,
  path: string,
  host: Omit<OperationHost, 'runner'>,
): Promise<TruthComparison | null> {
  const store = await openJob(folder, host.storage);
  return truthOfStore(store, path, contextOf(host, store.document.seed));
}

/** The comparison as the report shows it. */
export function reportTruth(comparison: TruthComparison | null): ReportInput['truth'] {
  if (comparison === null) return null;
  const { frames, surface } = comparison;
  const mm = (value: number): string => `${formatLength(value)} mm`;
  return {
    frames: frames.flatMap((frame) => {
      const { rms, farPoint, angleDeg, normalized, farPointUncertainty } = frame;
      if (farPoint === null || angleDeg === null) return [];
      return [
        {
          frame: frame.frame,
          rms: rms ?? farPoint,
          farEnd: farPoint,
          angleDeg,
          normalized,
          farEndExpanded: farPointUncertainty,
        },
      ];
    }),
    rows:
      surface === null
        ? []
        : [
            ['Fused surface: median deviation, + = outside the true surface', mm(surface.median)],
            ['Fused surface: median of the absolute deviation', mm(surface.medianAbsolute)],
            ['Fused surface: 95 % of the area deviates by at most', mm(surface.percentile95)],
            ['Noise of the noisiest instrument', mm(surface.noise)],
            ['Share of the area within four times the noise', formatPercent(surface.within4Noise)],
            ['Share of the area without true surface near it', formatPercent(surface.beyondReach)],
          ],
  };
}

/** The comparison as `show --json` prints it, units in the names of the keys. */
export function shownTruth(comparison: TruthComparison | null): object | null {
  if (comparison === null) return null;
  const { frames, surface } = comparison;
  return {
    frames: frames.map((frame) => ({
      frame: frame.frame,
      status: frame.status,
      rmsMm: frame.rms,
      farPointMm: frame.farPoint,
      angleDeg: frame.angleDeg,
      deviationInStandardUncertainties: frame.normalized,
      farPointExpandedUncertaintyMm: frame.farPointUncertainty,
      farPointShareOfUncertainty: frame.farPointShare,
    })),
    fused:
      surface === null
        ? null
        : {
            medianMm: surface.median,
            medianAbsoluteMm: surface.medianAbsolute,
            percentile68Mm: surface.percentile68,
            percentile95Mm: surface.percentile95,
            noiseMm: surface.noise,
            shareWithin4Noise: surface.within4Noise,
            shareBeyondReach: surface.beyondReach,
          },
  };
}
