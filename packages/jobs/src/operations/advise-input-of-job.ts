import {
  type AdviseFrame,
  type AdviseInput,
  type AdviseTie,
  type InstrumentErrors,
  type JobDocument,
  type JointCovariance,
  type PlacedSurface,
  type Pose,
  type RunContext,
  sampleFrame,
  type TieResult,
  transformPoint,
  type Vec3,
} from '@lapjoint/engine';
import type { BlobStore } from '../store/blob-store.ts';
import { errorPoolOf, instrumentErrorsOf } from './instrument-part.ts';
import { loadScan } from './load-scan.ts';
import { placedScans } from './result-record.ts';

/** Samples of each frame: a cabin of some metres gets one every 100 to 150 mm. */
const SAMPLES = 2000;
/** A target measured once with a tracked or handheld instrument, where the job has no targets of its own, mm. */
const USUAL_TARGET_SIGMA = 0.03;

/**
 * What advice needs of a job: where its surfaces lie, its ties, and the errors of its instruments.
 *
 * @param joint covariance of all frames together
 * @param estimatedTerms names of scale terms that the alignment estimated
 */
export async function adviseInputOfJob(
  job: { readonly document: JobDocument; readonly blobs: BlobStore },
  joint: JointCovariance,
  estimatedTerms: readonly string[],
  context: RunContext,
): Promise<AdviseInput> {
  const { document, blobs } = job;
  const result = document.alignment?.result;
  const poses = new Map((result?.frames ?? []).map((pose) => [pose.frame, pose.jobFromFrame]));
  const placed = placedScans(document);
  const frames: AdviseFrame[] = [];
  const errors = new Map<string, InstrumentErrors>();
  for (const frame of new Set(placed.map((scan) => scan.frame))) {
    const scans = placed.filter((scan) => scan.frame === frame);
    const surfaces: PlacedSurface[] = [];
    for (const scan of scans) {
      await context.checkpoint(frames.length / placed.length, `sampling ${scan.name}`);
      surfaces.push({ scan: await loadScan(blobs, document, scan), jobFromScan: poses.get(frame) as Pose });
    }
    const [first] = scans;
    if (first === undefined) continue;
    const instrument = errorPoolOf(document, first);
    const own = instrumentErrorsOf(document, first);
    if (own !== null) errors.set(instrument, { ...own, instrument });
    const sampled = sampleFrame(frame, instrument, surfaces, SAMPLES);
    if (sampled !== null) frames.push(sampled);
  }
  const sigmas = document.targetLists.flatMap((list) => list.targets.map((target) => target.sigma));
  return {
    covariance: joint,
    estimatedTerms,
    datum: result?.frames.find((pose) => pose.status === 'fixed')?.frame ?? null,
    frames,
    ties: placesOfTies(document, frames),
    errors: [...errors.values()],
    targetSigma: sigmas.length === 0 ? USUAL_TARGET_SIGMA : median(sigmas),
    options: {},
  };
}

function median(values: readonly number[]): number {
  const sorted = [...values].sort((a, b) => a - b);
  return sorted[Math.floor(sorted.length / 2)] as number;
}

/** Where the ties in use lie: the mean of their points, or, for overlaps, where both frames have surface. */
export function placesOfTies(document: JobDocument, frames: readonly AdviseFrame[]): AdviseTie[] {
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
  const gaps: number[] = [];
  for (let i = 0; i < a.places.length; i += 3) {
    let least = Infinity;
    for (let j = 0; j < b.places.length; j += 3) {
      const x = (a.places[i] as number) - (b.places[j] as number);
      const y = (a.places[i + 1] as number) - (b.places[j + 1] as number);
      const z = (a.places[i + 2] as number) - (b.places[j + 2] as number);
      // The two sides of a wall are near each other, but have nothing in common.
      const facing =
        (a.normals[i] as number) * (b.normals[j] as number) +
        (a.normals[i + 1] as number) * (b.normals[j + 1] as number) +
        (a.normals[i + 2] as number) * (b.normals[j + 2] as number);
      const square = x * x + y * y + z * z;
      if (square < least && facing > 0.5) least = square;
    }
    gaps.push(Math.sqrt(least));
  }
  const nearest = gaps.reduce((least, gap) => Math.min(least, gap), Infinity);
  if (!Number.isFinite(nearest)) return null;
  const sum = [0, 0, 0];
  let count = 0;
  gaps.forEach((gap, i) => {
    if (gap > 2 * nearest + 1e-3 * nearest + 30) return;
    for (let k = 0; k < 3; k++) sum[k] = (sum[k] as number) + (a.places[3 * i + k] as number);
    count++;
  });
  return [0, 1, 2].map((k) => (sum[k] as number) / count) as unknown as Vec3;
}
