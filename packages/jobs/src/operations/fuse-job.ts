import {
  AppError,
  covarianceOfFrame,
  FUSION_DEFAULTS,
  type FusedSurface,
  type FuseScan,
  type FusionOptions,
  fuseAlignedScans,
  type JobDocument,
  type JobFused,
  type JointCovariance,
  type JsonValue,
  judgeFusedSurface,
  type ResultRecord,
  type RunContext,
  type SurfaceQuality,
} from '@lapjoint/engine';
import type { BlobStore } from '../store/blob-store.ts';
import { encodeScanBlob } from '../store/scan-blob.ts';
import { encodeSurfaceAttributes, surfaceAsScan } from '../store/surface-blob.ts';
import { boundsOfScan } from './bounds-of-scan.ts';
import { changeJob, contextOf, type OperationHost } from './change-job.ts';
import { jointCovarianceOf } from './joint-covariance-of.ts';
import { loadScan } from './load-scan.ts';
import { fusionRecord, placedScans, resultsUpToDate, sheetNoise } from './result-record.ts';
import { vertexUncertainty } from './vertex-uncertainty.ts';

/** What `fuse` did. */
export interface FuseJobResult {
  readonly document: JobDocument;
  readonly fused: JobFused;
  /** True when nothing had changed since the last fusion, so that it still holds. */
  readonly reused: boolean;
}

/** Choices of a fusion that change its result. */
export type FuseJobOptions = Partial<Omit<FusionOptions, 'tileCells'>>;

/**
 * Makes one surface from all placed scans of a job and keeps it. Scans that were refused are left out and named.
 *
 * The same job with the same options is not computed again, unless forced. Stopped or killed, the job is as before.
 *
 * @throws AppError `not-aligned`, `alignment-out-of-date`, `nothing-fused`, `fuse/nothing`, and those of opening and reading the job
 */
export async function fuseJob(
  folder: string,
  options: FuseJobOptions,
  host: OperationHost,
  again: { readonly force?: boolean } = {},
): Promise<FuseJobResult> {
  return changeJob(folder, host.storage, async (store) => {
    const { document } = store;
    refuseUnaligned(document);
    const { tileCells: _, ...defaults } = FUSION_DEFAULTS;
    const chosen = { ...defaults, ...options };
    const record = fusionRecord(document, chosen as unknown as Readonly<Record<string, JsonValue>>) as ResultRecord;
    const known = document.fused;
    if (known !== null && again.force !== true && JSON.stringify(known.record) === JSON.stringify(record)) {
      return { document, fused: known, reused: true };
    }
    const context = contextOf(host, document.seed);
    const joint = document.alignment?.covarianceSha256 ? await jointCovarianceOf(store) : null;
    const scans = await fuseScansOf(document, joint, store.blobs, context.part(0, 0.05));
    const surface = await fuseAlignedScans(scans, chosen, host.runner, context.part(0.05, 0.88));
    refuseEmpty(surface);
    const quality = await judgeFusedSurface(surface, scans, context.part(0.88, 0.95));
    context.progress(0.95, 'storing the surface');
    const fused = await storeSurface(document, surface, joint, quality, record, store.blobs, context);
    await context.checkpoint(1);
    await store.commit({ kind: 'fused', fused }, `fuse ${fused.scans.length} scans`);
    return { document: store.document, fused, reused: false };
  });
}

function refuseUnaligned(document: JobDocument): void {
  if (document.alignment === null) {
    throw new AppError('not-aligned', 'The scans of this job are not aligned yet.', 'Run align, then fuse.');
  }
  if (!resultsUpToDate(document).alignment) {
    throw new AppError(
      'alignment-out-of-date',
      'Scans, targets or ties were added since the scans were aligned.',
      'Run align, then fuse.',
    );
  }
}

/** A surface without triangles is a refusal, with the reasons that fusion found. */
function refuseEmpty(surface: FusedSurface): void {
  if (surface.triangles.length > 0) return;
  const reasons = surface.findings.filter((finding) => finding.severity !== 'note');
  const [first] = reasons;
  throw new AppError(
    'nothing-fused',
    `No surface could be made. ${reasons.map((finding) => `${finding.subject}: ${finding.message}`).join(' ')}`.trimEnd(),
    first?.remedy ?? 'Add scans that show a surface.',
  );
}

async function fuseScansOf(
  document: JobDocument,
  joint: JointCovariance | null,
  blobs: BlobStore,
  context: RunContext,
): Promise<FuseScan[]> {
  const poses = new Map((document.alignment?.result.frames ?? []).map((pose) => [pose.frame, pose]));
  const scans: FuseScan[] = [];
  const placed = placedScans(document);
  for (const scan of placed) {
    const framePose = poses.get(scan.frame);
    if (framePose === undefined) continue;
    const data = await loadScan(blobs, document, scan);
    const placement = joint === null ? null : covarianceOfFrame(joint, scan.frame);
    scans.push({ id: scan.id, data, framePose, noise: sheetNoise(document, scan), placement });
    await context.checkpoint(scans.length / placed.length, `loading ${scan.name}`);
  }
  return scans;
}

/** The numbers of `show`, units in the names. */
function statisticsOf(quality: SurfaceQuality): JobFused['statistics'] {
  return {
    areaMm2: quality.area,
    components: quality.componentCount,
    boundaryLoops: quality.boundaryLoopCount,
    boundaryLengthMm: quality.boundaryLength,
    nonManifoldEdges: quality.nonManifoldEdgeCount,
    pinchedVertices: quality.pinchedVertexCount,
    eulerNumber: quality.eulerNumber,
    doubleSkinShare: quality.doubleSkinShare,
    unsupportedShare: quality.unsupportedShare,
  };
}

async function storeSurface(
  document: JobDocument,
  surface: FusedSurface,
  joint: JointCovariance | null,
  quality: SurfaceQuality,
  record: ResultRecord,
  blobs: BlobStore,
  context: RunContext,
): Promise<JobFused> {
  const scan = surfaceAsScan(surface);
  const surfaceSha256 = await blobs.put(encodeScanBlob(scan));
  await context.checkpoint(0.98);
  const expandedUncertainty = vertexUncertainty(document, surface, joint);
  const attributesSha256 = await blobs.put(encodeSurfaceAttributes({ ...surface, expandedUncertainty }));
  const used = new Set(surface.scanIds);
  const leftOut = document.scans.filter((item) => !used.has(item.id));
  return {
    record,
    surfaceSha256,
    attributesSha256,
    pointCount: surface.positions.length / 3,
    triangleCount: surface.triangles.length / 3,
    bounds: boundsOfScan(scan),
    resolution: surface.resolution,
    scans: surface.scanIds,
    statistics: statisticsOf(quality),
    findings: [
      ...surface.findings,
      ...leftOut.map((item) => ({
        severity: 'warning' as const,
        code: 'scan-not-fused',
        subject: item.id,
        message: `${item.name} is not part of the fused surface, since its frame has no pose.`,
        remedy: 'See the reason in the alignment; add overlap, targets or picked points, then align and fuse again.',
      })),
    ],
  };
}
