import {
  type AdviseFrame,
  type AdviseInput,
  type AdviseTie,
  type InstrumentErrors,
  type JobDocument,
  type JobScan,
  type JointCovariance,
  type PlacedSurface,
  type Pose,
  type RunContext,
  type ScanData,
  sampleFrame,
  type TieResult,
  transformPoint,
  type Vec3,
} from '@lapjoint/engine';
import type { BlobStore } from '../store/blob-store.ts';
import { errorPoolOf, instrumentErrorsOf } from './instrument-part.ts';
import { loadScan } from './load-scan.ts';
import { recordedScaleTerms } from './recorded-scale-terms.ts';
import { placedScans } from './result-record.ts';

/** Samples of each frame: a cabin of some metres gets one every 100 to 150 mm. */
const SAMPLES = 2000;
/** More triangles than this are not held in memory to look along lines of sight: nearness stands for them. */
const SIGHT_TRIANGLES = 6_000_000;
/** A target measured once with a tracked or handheld instrument, where the job has no targets of its own, mm. */
const USUAL_TARGET_SIGMA = 0.03;

/**
 * What advice needs of a job: where its surfaces lie, its ties, and the errors of its instruments.
 *
 * @param joint covariance of all frames together
 * @param scanOf gives a scan's points, where somebody has them already; else they are read
 */
export async function adviseInputOfJob(
  job: { readonly document: JobDocument; readonly blobs: BlobStore },
  joint: JointCovariance,
  context: RunContext,
  scanOf: (scan: JobScan) => Promise<ScanData> = (scan) => loadScan(job.blobs, job.document, scan),
): Promise<AdviseInput> {
  const { document } = job;
  const result = document.alignment?.result;
  const poses = new Map((result?.frames ?? []).map((pose) => [pose.frame, pose.jobFromFrame]));
  const placed = placedScans(document);
  const frames: AdviseFrame[] = [];
  const errors = new Map<string, InstrumentErrors>();
  const all: PlacedSurface[] = [];
  const triangleCount = placed.reduce((sum, scan) => sum + scan.triangleCount, 0);
  for (const frame of new Set(placed.map((scan) => scan.frame))) {
    const scans = placed.filter((scan) => scan.frame === frame);
    const surfaces: PlacedSurface[] = [];
    for (const scan of scans) {
      await context.checkpoint(frames.length / placed.length, `sampling ${scan.name}`);
      surfaces.push({ scan: await scanOf(scan), jobFromScan: poses.get(frame) as Pose });
    }
    const [first] = scans;
    if (first === undefined) continue;
    const instrument = errorPoolOf(document, first);
    const own = instrumentErrorsOf(document, first);
    if (own !== null) errors.set(instrument, { ...own, instrument });
    const sampled = sampleFrame(frame, instrument, surfaces, SAMPLES);
    if (sampled !== null) frames.push(sampled);
    if (triangleCount <= SIGHT_TRIANGLES) all.push(...surfaces);
  }
  const terms = document.alignment === null ? [] : recordedScaleTerms(document.alignment.record);
  const sigmas = document.targetLists.flatMap((list) => list.targets.map((target) => target.sigma));
  return {
    covariance: joint,
    estimatedTerms: terms.filter((term) => term.isEstimated).map((term) => term.name),
    datum: result?.frames.find((pose) => pose.status === 'fixed')?.frame ?? null,
    frames,
    ties: placesOfTies(document, frames),
    errors: [...errors.values()],
    targetSigma: sigmas.length === 0 ? USUAL_TARGET_SIGMA : median(sigmas),
    ...(all.length === 0 ? {} : { surfaces: all }),
    options: {},
  };
}

function median(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[Math.floor(sorted.length / 2)] as number;
}

/** Where the ties in use lie: the mean of their points, or, for overlaps, where both frames have surface. */
function placesOfTies(document: JobDocument, frames: readonly AdviseFrame[]): AdviseTie[] {
  const ties = document.alignment?.result.ties.filter((tie) => tie.status === 'used') ?? [];
  return ties.flatMap((tie) => {
    const place = placeOfPoints(document, tie) ?? placeInCommon(tie, frames);
    return place === null ? [] : [{ id: tie.id, frameA: tie.frameA, frameB: tie.frameB, place }];
  });
}

function placeOfPoints(document: JobDocument, result: TieResult): Vec3 | null {
  const tie = document.ties.find((item) => item.id === result.id);
  const pose = document.alignment?.result.frames.find((item) => item.frame === result.frameA)?.jobFromFrame;
  if (!pose || tie === undefined) return null;
  if (tie.kind === 'picked')
    return tie.frameA === result.frameA
      ? mean(
          tie.pairs.map((p) => p.a),
          pose,
        )
      : null;
  if (tie.kind !== 'targets') return null;
  const known = document.targetLists
    .filter((list) => list.frame === result.frameA)
    .flatMap((list) => list.targets)
    .filter((target) => tie.names.some((pair) => pair.includes(target.name)));
  return mean(
    known.map((target) => target.position),
    pose,
  );
}

function mean(points: readonly Vec3[], jobFromFrame: Pose): Vec3 | null {
  if (points.length === 0) return null;
  const at = (k: 0 | 1 | 2): number => points.reduce((sum, p) => sum + p[k], 0) / points.length;
  return transformPoint(jobFromFrame, [at(0), at(1), at(2)]);
}

/** Middle of the samples of the one frame that have the other's surface beside them; else of the nearest two. */
function placeInCommon(tie: TieResult, frames: readonly AdviseFrame[]): Vec3 | null {
  const a = frames.find((frame) => frame.frame === tie.frameA);
  const b = frames.find((frame) => frame.frame === tie.frameB);
  if (a === undefined || b === undefined) return null;
  const gaps: { readonly sample: number; readonly gap: number }[] = [];
  for (let i = 0; i < a.places.length; i += 3) {
    const gap = gapTo(a, i, b);
    if (gap < Infinity) gaps.push({ sample: i, gap });
  }
  gaps.sort((s, t) => s.gap - t.gap || s.sample - t.sample);
  const common = gaps.slice(0, Math.max(3, Math.round(0.5 * (tie.overlapShare ?? 0) * gaps.length)));
  if (common.length === 0) return null;
  const middle = (k: number): number =>
    common.reduce((sum, { sample }) => sum + (a.places[sample + k] as number), 0) / common.length;
  return [middle(0), middle(1), middle(2)];
}

/** Distance from a sample of the one frame to the other's surface that faces alike, mm: not to the other side of a wall. */
function gapTo(a: AdviseFrame, i: number, b: AdviseFrame): number {
  const [x, y, z] = a.places.subarray(i, i + 3) as unknown as Vec3;
  const [nx, ny, nz] = a.normals.subarray(i, i + 3) as unknown as Vec3;
  let least = Infinity;
  for (let j = 0; j < b.places.length; j += 3) {
    const dx = (b.places[j] as number) - x;
    const dy = (b.places[j + 1] as number) - y;
    const dz = (b.places[j + 2] as number) - z;
    const square = dx * dx + dy * dy + dz * dz;
    if (square >= least) continue;
    const alike = nx * (b.normals[j] as number) + ny * (b.normals[j + 1] as number) + nz * (b.normals[j + 2] as number);
    if (alike > 0.5) least = square;
  }
  return Math.sqrt(least);
}
