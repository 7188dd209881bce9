import {
  ALIGN_DEFAULTS,
  type AlignInput,
  type AlignOptions,
  AppError,
  alignScans,
  type JobAlignment,
  type JobDocument,
  type JsonValue,
  type RunContext,
} from '@lapjoint/engine';
import { changeJob, contextOf, type OperationHost } from './change-job.ts';
import { loadScan } from './load-scan.ts';
import { alignmentRecord, sheetNoise } from './result-record.ts';

/** What `align` did. */
export interface AlignJobResult {
  readonly document: JobDocument;
  readonly alignment: JobAlignment;
  /** True when nothing had changed since the last alignment, so that it still holds. */
  readonly reused: boolean;
}

function summaryOf(alignment: JobAlignment): string {
  const { frames } = alignment.result;
  const refused = frames.filter((pose) => pose.status === 'refused').length;
  return `align ${frames.length} frames` + (refused > 0 ? `, ${refused} refused` : '');
}

/**
 * Places all frames of a job in one and keeps the result.
 *
 * The same job with the same options is not computed again, unless forced. Stopped or killed, the job is as before.
 *
 * @throws AppError `nothing-to-align`, and those of opening and reading the job
 */
export async function alignJob(
  folder: string,
  options: Partial<AlignOptions>,
  host: OperationHost,
  again: { readonly force?: boolean } = {},
): Promise<AlignJobResult> {
  return changeJob(folder, host.storage, async (store) => {
    const { document } = store;
    if (document.scans.length + document.targetLists.length === 0) {
      throw new AppError('nothing-to-align', 'This job has no scans yet.', 'Add scans with add, then align.');
    }
    const chosen: AlignOptions = { ...ALIGN_DEFAULTS, ...options };
    const record = alignmentRecord(document, { ...chosen } as unknown as Readonly<Record<string, JsonValue>>);
    const known = document.alignment;
    if (known !== null && again.force !== true && JSON.stringify(known.record) === JSON.stringify(record)) {
      return { document, alignment: known, reused: true };
    }
    const context = contextOf(host, document.seed);
    const input = await alignInputOf(document, store.blobs, context.part(0, 0.05));
    const result = await alignScans(input, chosen, host.runner, context.part(0.05, 1));
    const alignment: JobAlignment = { record, result, findings: context.findings.items };
    await store.commit({ kind: 'aligned', alignment }, summaryOf(alignment));
    return { document: store.document, alignment, reused: false };
  });
}

async function alignInputOf(
  document: JobDocument,
  blobs: Parameters<typeof loadScan>[0],
  context: RunContext,
): Promise<AlignInput> {
  const scans: AlignInput['scans'][number][] = [];
  for (const scan of document.scans) {
    const data = await loadScan(blobs, scan);
    scans.push({ id: scan.id, name: scan.name, frame: scan.frame, data, noise: sheetNoise(document, scan) });
    await context.checkpoint(scans.length / document.scans.length, `loading ${scan.name}`);
  }
  return {
    frames: document.frames,
    scans,
    targetLists: document.targetLists.map(({ id, name, frame, targets }) => ({ id, name, frame, targets })),
    ties: document.ties,
  };
}
