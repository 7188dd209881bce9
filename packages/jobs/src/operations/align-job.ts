import {
  ALIGN_DEFAULTS,
  type AlignInput,
  type AlignmentResult,
  type AlignOptions,
  AppError,
  alignScans,
  INSTRUMENTS,
  type InstrumentClass,
  type JobAlignment,
  type JobDocument,
  type JobScan,
  type JsonValue,
  type RunContext,
  type ScaleTerm,
} from '@lapjoint/engine';
import type { BlobStore } from '../store/blob-store.ts';
import { encodeCovarianceBlob } from '../store/covariance-blob.ts';
import { changeJob, contextOf, type OperationHost } from './change-job.ts';
import { applyEstimatedScales } from './estimated-scales.ts';
import { errorPoolOf, errorReach } from './instrument-part.ts';
import { lengthFactorOf } from './length-factors.ts';
import { loadScanToAlign } from './load-scan.ts';
import { reducedTargets, reducedTies } from './reduced-data.ts';
import { alignmentRecord, sheetNoise } from './result-record.ts';
import { scaleTermsOf, sheetScale } from './scale-terms.ts';
import { thermalFindings } from './thermal-findings.ts';

/** What `align` did. */
export interface AlignJobResult {
  readonly document: JobDocument;
  readonly alignment: JobAlignment;
  /** True when nothing had changed since the last alignment, so that it still holds. */
  readonly reused: boolean;
}

/** Choices of an alignment that change its result. */
export interface AlignJobOptions extends Partial<AlignOptions> {
  /** Classes of instruments whose scale is an unknown of the adjustment, held by their sheets. */
  readonly estimateScale?: readonly InstrumentClass[];
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
 * @throws AppError `nothing-to-align`; `unknown-name` for a class whose scale cannot be estimated; and those of opening and reading the job
 */
export async function alignJob(
  folder: string,
  options: AlignJobOptions,
  host: OperationHost,
  again: { readonly force?: boolean } = {},
): Promise<AlignJobResult> {
  return changeJob(folder, host.storage, async (store) => {
    const { document } = store;
    if (document.scans.length + document.targetLists.length === 0) {
      throw new AppError('nothing-to-align', 'This job has no scans yet.', 'Add scans with add, then align.');
    }
    const { estimateScale = [], ...given } = options;
    refuseInestimable(document, estimateScale);
    const chosen: AlignOptions = { ...ALIGN_DEFAULTS, ...given };
    const terms = scaleTermsOf(document, estimateScale);
    const record = alignmentRecord(document, { ...chosen } as unknown as Readonly<Record<string, JsonValue>>, terms);
    const known = document.alignment;
    if (known !== null && again.force !== true && JSON.stringify(known.record) === JSON.stringify(record)) {
      return { document, alignment: known, reused: true };
    }
    const context = contextOf(host, document.seed);
    for (const finding of thermalFindings(document)) context.findings.add(finding);
    const input = await alignInputOf(document, terms, store.blobs, context.part(0, 0.05));
    const result = await alignScans(input, chosen, host.runner, context.part(0.05, 1));
    const alignment = await storedAlignment(record, result, terms, context, store.blobs);
    await store.commit({ kind: 'aligned', alignment }, summaryOf(alignment));
    return { document: store.document, alignment, reused: false };
  });
}

function refuseInestimable(document: JobDocument, estimated: readonly InstrumentClass[]): void {
  const present = new Set(document.sessions.map((session) => session.instrument));
  for (const instrument of estimated) {
    if (present.has(instrument) && sheetScale(instrument) !== null) continue;
    const usable = [...present].filter((known) => sheetScale(known) !== null);
    throw new AppError(
      'unknown-name',
      present.has(instrument)
        ? `The sheet of the class ${instrument} says nothing about scale, so there is nothing to hold it by.`
        : `No session of this job was captured with ${instrument}.`,
      usable.length === 0
        ? 'State the instruments when files are added.'
        : `The scale of these can be estimated: ${usable.join(', ')}.`,
    );
  }
}

/** The covariance of all frames is too large for a line of the journal: it goes to a blob. */
async function storedAlignment(
  record: JobAlignment['record'],
  result: AlignmentResult,
  terms: readonly ScaleTerm[],
  context: RunContext,
  blobs: BlobStore,
): Promise<JobAlignment> {
  const { jointCovariance } = result;
  const { frames, factors } = applyEstimatedScales(result, terms);
  return {
    record,
    result: { ...result, frames, jointCovariance: null },
    ...(Object.keys(factors).length === 0 ? {} : { frameFactors: factors }),
    covarianceSha256: jointCovariance === null ? null : await blobs.put(encodeCovarianceBlob(jointCovariance)),
    findings: context.findings.items,
  };
}

/** Class and reach of the instrument of a scan; nothing where it is not stated, so that every scan stands for itself. */
function instrumentOf(document: JobDocument, scan: JobScan): Pick<AlignInput['scans'][number], 'instrument'> {
  const session = document.sessions.find((item) => item.name === scan.session);
  if (session === undefined || session.instrument === 'unknown') return {};
  const volumetric = INSTRUMENTS[session.instrument].volumetric?.constant ?? 0;
  return { instrument: { name: errorPoolOf(document, scan), reach: errorReach(session.instrument), volumetric } };
}

async function alignInputOf(
  document: JobDocument,
  scaleTerms: readonly ScaleTerm[],
  blobs: BlobStore,
  context: RunContext,
): Promise<AlignInput> {
  const scans: AlignInput['scans'][number][] = [];
  for (const scan of document.scans) {
    const data = await loadScanToAlign(blobs, document, scan);
    const noise = sheetNoise(document, scan);
    scans.push({ id: scan.id, name: scan.name, frame: scan.frame, data, noise, ...instrumentOf(document, scan) });
    await context.checkpoint(scans.length / document.scans.length, `loading ${scan.name}`);
  }
  return {
    frames: document.frames,
    scans,
    targetLists: document.targetLists.map((list) => ({
      id: list.id,
      name: list.name,
      frame: list.frame,
      targets: reducedTargets(list, lengthFactorOf(document, list)),
    })),
    ties: reducedTies(document),
    scaleTerms,
  };
}
