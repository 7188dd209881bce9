import {
  ENGINE_VERSION,
  type Finding,
  type FramePose,
  formatCount,
  formatLength,
  IDENTITY_POSE,
  INSTRUMENTS,
  type JobDocument,
  type JobFused,
  type JointCovariance,
  pointCovariance,
  type ReportFused,
  type ReportInput,
  type ReportReach,
  type ReportSurface,
  type RunContext,
  type ScanData,
  transformPoint,
} from '@lapjoint/engine';
import type { JobStore } from '../store/job-store.ts';
import { decodeScanBlob } from '../store/scan-blob.ts';
import { decodeSurfaceAttributes, type SurfaceAttributes } from '../store/surface-blob.ts';
import { commandsOfHistory } from './commands-of-history.ts';
import { jointCovarianceOf } from './joint-covariance-of.ts';
import { loadScan } from './load-scan.ts';
import { placementParts } from './placement-parts.ts';
import { placedScans, resultsUpToDate } from './result-record.ts';
import { trustOfJob } from './trust-of-job.ts';
import { reportTruth, truthOfStore } from './truth-of-job.ts';

/** Points of a scan at which the uncertainty is looked at: enough to meet its far end within a few millimetres. */
const REACH_POINTS = 20_000;

function framesOf(document: JobDocument): ReadonlyMap<string, FramePose> {
  return new Map((document.alignment?.result.frames ?? []).map((pose) => [pose.frame, pose]));
}

/** Everything a person has to know, in the order of the work; results made before the last change are named. */
export function findingsOfJob(document: JobDocument): Finding[] {
  const upToDate = resultsUpToDate(document);
  const stale = (subject: string, command: string): Finding => ({
    severity: 'warning',
    code: 'result-out-of-date',
    subject,
    message: `The ${subject} was made before the last change of the job.`,
    remedy: `Run ${command} again.`,
  });
  const { alignment, fused } = document;
  return [
    ...[...document.scans, ...document.targetLists, ...document.probeSets].flatMap((item) => item.findings),
    ...(alignment === null ? [] : alignment.findings),
    ...(alignment === null || upToDate.alignment ? [] : [stale('alignment', 'align')]),
    ...(fused === null ? [] : fused.findings),
    ...(fused === null || upToDate.fused ? [] : [stale('fused surface', 'fuse')]),
  ];
}

/** Stated uncertainty (k = 2) of each vertex, mm; NaN where it is not known. */
export function expandedUncertainty(attributes: SurfaceAttributes): Float32Array {
  const { sigmaNoise, sigmaAlignment } = attributes;
  if (attributes.expandedUncertainty !== null) return attributes.expandedUncertainty;
  return Float32Array.from(sigmaNoise, (noise, i) => 2 * Math.hypot(noise, sigmaAlignment[i] ?? Number.NaN));
}

function qualityRows(fused: JobFused): ReportFused['quality'] {
  const { statistics } = fused;
  const number = (name: string): number => {
    const value = statistics[name];
    return typeof value === 'number' ? value : Number.NaN;
  };
  const rows = [
    [
      'Vertices, triangles',
      `${formatCount(fused.pointCount)}, ${formatCount(fused.triangleCount)}`,
      'size of the surface',
    ],
    ['Resolution', `${formatLength(fused.resolution)} mm`, 'detail smaller than this is not in the surface'],
    ['Area', `${formatLength(number('areaMm2') / 1e6)} m²`, 'both sides of a sheet count where both were seen'],
    [
      'Double skin',
      formatShare(number('doubleSkinShare')),
      'share of the area with a second sheet that faces the same way',
    ],
    [
      'Beyond the data',
      formatShare(number('unsupportedShare')),
      'share of the area further than one resolution from any scan',
    ],
    ['Openings', formatCount(number('boundaryLoops')), 'closed borders: where nothing was measured the surface ends'],
    ['Pieces', formatCount(number('components')), 'parts of the surface that do not touch'],
    ['Faulty edges', formatCount(number('nonManifoldEdges')), 'edges with more than two triangles'],
  ] as const;
  return rows
    .filter(([, value]) => !value.includes('NaN') && !value.includes('not known'))
    .map(([name, value, meaning]) => ({ name, value, meaning }));
}

/** Shares of a surface are small: three digits of per cent. */
function formatShare(share: number): string {
  return Number.isFinite(share) ? `${formatLength(100 * share)} %` : 'not known';
}

/** Covariance of all frames, where it is that of the fused surface's alignment. */
async function jointOf(store: JobStore): Promise<JointCovariance | null> {
  const { alignment } = store.document;
  if (alignment === null || alignment.covarianceSha256 === null || !resultsUpToDate(store.document).fused) return null;
  return jointCovarianceOf(store);
}

async function fusedOf(store: JobStore, scanIds: readonly string[]): Promise<ReportFused | null> {
  const { fused } = store.document;
  if (fused === null) return null;
  const scan = decodeScanBlob(await store.blobs.get(fused.surfaceSha256));
  if (fused.attributesSha256 === null) return null;
  const attributes = decodeSurfaceAttributes(await store.blobs.get(fused.attributesSha256));
  const indexOfScan = attributes.scanIds.map((id) => scanIds.indexOf(id));
  const uncertainty = expandedUncertainty(attributes);
  const joint = await jointOf(store);
  const parts = joint === null ? null : placementParts(store.document, joint, attributes, scan.positions, scan.origin);
  return {
    surface: {
      id: 'fused',
      origin: scan.origin,
      positions: scan.positions,
      triangles: scan.triangles,
      jobFromItem: IDENTITY_POSE,
    },
    resolution: fused.resolution,
    dominantScan: Int32Array.from(attributes.dominantSource, (source) => indexOfScan[source] ?? -1),
    expandedUncertainty: uncertainty,
    placementUncertainty: parts?.ties ?? attributes.sigmaAlignment.map((sigma) => 2 * sigma),
    ...(parts === null || joint?.terms.length === 0 ? {} : { scaleUncertainty: parts.scale }),
    colors: scan.colors,
    quality: qualityRows(fused),
  };
}

/** How the uncertainty of each frame's placement runs over the points of its scans. */
function reachesOf(document: JobDocument, surfaces: readonly ReportSurface[]): ReportReach[] {
  const reaches: ReportReach[] = [];
  for (const pose of document.alignment?.result.frames ?? []) {
    if (pose.status !== 'adjusted') continue;
    let least = Infinity;
    let largest = 0;
    for (const surface of surfaces) {
      if (document.scans.find((scan) => scan.id === surface.id)?.frame !== pose.frame) continue;
      const { positions, origin, jobFromItem } = surface;
      const step = 3 * Math.max(1, Math.floor(positions.length / 3 / REACH_POINTS));
      for (let i = 0; i + 2 < positions.length; i += step) {
        const at = (k: number): number => (positions[i + k] as number) + (origin[k] as number);
        const point = transformPoint(jobFromItem, [at(0), at(1), at(2)]);
        const u = pointCovariance(pose, point)?.largestSemiAxis ?? Number.NaN;
        if (u < least) least = u;
        if (u > largest) largest = u;
      }
    }
    if (largest > 0) reaches.push({ frame: pose.frame, least, largest });
  }
  return reaches;
}

/**
 * Gathers what the report is made of. No clock: the date is that of the last change of the job.
 *
 * @param truthPath the `truth.json` of a simulated job; null for real jobs
 */
export async function reportInputOfJob(
  store: JobStore,
  truthPath: string | null,
  context: RunContext,
): Promise<ReportInput> {
  const { document, history } = store;
  const poses = framesOf(document);
  const sessions = new Map(document.sessions.map((session) => [session.name, session]));
  const surfaces: ReportSurface[] = [];
  const scans = new Map<string, ScanData>();
  for (const scan of placedScans(document)) {
    const data = await loadScan(store.blobs, document, scan);
    scans.set(scan.id, data);
    const { origin, positions, triangles } = data;
    const jobFromItem = poses.get(scan.frame)?.jobFromFrame ?? IDENTITY_POSE;
    surfaces.push({ id: scan.id, origin, positions, triangles, jobFromItem });
    await context.checkpoint((0.4 * surfaces.length) / document.scans.length, `loading ${scan.name}`);
  }
  const fused = await fusedOf(
    store,
    document.scans.map((scan) => scan.id),
  );
  const trust = await trustOfJob(store, context.part(0.4, 0.5), async (scan) => scans.get(scan.id) as ScanData);
  const truth = truthPath === null ? null : reportTruth(await truthOfStore(store, truthPath, context.part(0.5, 0.8)));
  await context.checkpoint(0.8, 'drawing');
  return {
    jobName: document.name,
    version: ENGINE_VERSION,
    seed: document.seed,
    date: history.done.at(-1)?.time.slice(0, 10) ?? '',
    scans: document.scans.map((scan) => ({
      id: scan.id,
      name: scan.name,
      session: scan.session,
      frame: scan.frame,
      instrument: INSTRUMENTS[sessions.get(scan.session)?.instrument ?? 'unknown'].title,
      points: scan.pointCount,
      triangles: scan.triangleCount,
      unit: scan.unit,
      bounds: scan.bounds,
      sha256: scan.source.sha256,
    })),
    lists: [
      ...document.targetLists.map((list) => ({ ...list, kind: 'targets' as const, count: list.targets.length })),
      ...document.probeSets.map((set) => ({ ...set, kind: 'probe' as const, count: set.points.length })),
    ].map(({ name, session, frame, kind, count, source }) => ({
      name,
      session,
      frame,
      kind,
      count,
      sha256: source.sha256,
    })),
    alignment: document.alignment?.result ?? null,
    ...(trust === null ? {} : { trust }),
    reaches: reachesOf(document, surfaces),
    surfaces,
    fused,
    findings: findingsOfJob(document),
    truth,
    commands: commandsOfHistory(history, document.name),
  };
}
