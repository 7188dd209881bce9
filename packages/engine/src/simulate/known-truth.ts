import { AppError } from '../base/index.ts';
import { type Pose, poseFromMatrix16, poseToMatrix16, type Vec3 } from '../math/index.ts';
import type { ScanData } from '../model/index.ts';
import type { SimulatedJob } from './cabin/simulate-ropeway-cabin.ts';
import { totalNoise } from './surface-noise.ts';

/** What is true of one frame. */
export interface KnownFrame {
  readonly frame: string;
  /** Into the frame of the truth, which is that of one of the frames. */
  readonly jobFromFrame: Pose;
  /** The end of its scan that is farthest from its ties, job frame, mm. */
  readonly farPoint: Vec3;
  /** Standard deviation of a point along its normal, mm. */
  readonly noise: number;
}

/** What is true of a simulated job; kept beside it to compare results with. */
export interface KnownTruth {
  readonly frames: readonly KnownFrame[];
  /** True surface as far as some session saw it, job frame; null where it was not read. */
  readonly surface: ScanData | null;
}

/** The truth of a simulated job. */
export function knownTruthOf(job: SimulatedJob): KnownTruth {
  return {
    frames: job.scans.map(({ frame, instrument }) => ({
      frame,
      jobFromFrame: job.truth.jobFromFrame[frame],
      farPoint: job.truth.farPoint[frame],
      noise: totalNoise(instrument.noise),
    })),
    surface: job.truth.surface,
  };
}

/** The JSON document of a job's truth (without the surface). Lengths mm, matrices 4 x 4 row-major. */
export function knownTruthDocument(job: SimulatedJob): Record<string, unknown> {
  return {
    schema: 'lapjoint/known-truth',
    schemaVersion: 1,
    note: 'Invented data. The job frame is that of the session outside. Matrices are 4 x 4, row-major, mm.',
    size: job.size,
    seed: job.seed,
    doorAngleDeg: (job.truth.doorAngle * 180) / Math.PI,
    frames: knownTruthOf(job).frames.map((f) => ({
      frame: f.frame,
      jobFromFrame: poseToMatrix16(f.jobFromFrame),
      farPointMm: f.farPoint,
      noiseMm: f.noise,
    })),
    instruments: [
      ...job.scans.map((s) => ({ session: s.session, kind: s.instrument.kind, noiseMm: s.instrument.noise })),
      { session: job.probed.session, kind: 'touch-probe', tipRadiusMm: job.probed.points[0]?.tipRadius ?? null },
    ],
    jobFromModel: poseToMatrix16(job.truth.jobFromModel),
    commonTargets: job.truth.commonTargets,
  };
}

function numbers(value: unknown, count: number, what: string): number[] {
  if (Array.isArray(value) && value.length === count && value.every((x) => Number.isFinite(x))) return value;
  throw new AppError('truth-unreadable', `The truth file has no ${count} numbers for ${what}.`, 'Make the demo again.');
}

/**
 * Reads the document written by `knownTruthDocument`.
 *
 * @param document parsed JSON
 * @throws AppError `truth-unreadable` when it is something else
 */
export function knownTruthFromDocument(document: unknown, surface: ScanData | null): KnownTruth {
  const frames = (document as { readonly frames?: unknown } | null)?.frames;
  if (!Array.isArray(frames)) {
    throw new AppError('truth-unreadable', 'The truth file lists no frames.', 'Give the truth.json that demo wrote.');
  }
  return {
    surface,
    frames: frames.map((f: Record<string, unknown>) => {
      const far = numbers(f['farPointMm'], 3, 'farPointMm');
      return {
        frame: String(f['frame']),
        jobFromFrame: poseFromMatrix16(numbers(f['jobFromFrame'], 16, 'jobFromFrame')),
        farPoint: [far[0], far[1], far[2]],
        noise: numbers([f['noiseMm']], 1, 'noiseMm')[0],
      };
    }),
  };
}
