import {
  ENGINE_VERSION,
  type Finding,
  type FramePose,
  type JobAlignment,
  type JobDocument,
  type JobSession,
  type JsonValue,
  type Pose,
  poseToMatrix16,
  type TieResult,
  type Vec3,
} from '@lapjoint/engine';
import { type JobStoreOptions, openJob } from '../store/job-store.ts';
import { lengthFactor, lengthFactorOf, placedFactorOf } from './length-factors.ts';
import { estimatedScales, resultsUpToDate } from './result-record.ts';
import { scaleTermName } from './scale-terms.ts';

/** Version of the document that `show --json` prints. Raised when a key changes its meaning or goes. */
export const SHOW_SCHEMA_VERSION = 1;

interface ShownBounds {
  readonly min: Vec3;
  readonly max: Vec3;
}

/** A scan, as shown. */
export interface ShownScan {
  readonly id: string;
  readonly name: string;
  readonly session: string;
  readonly frame: string;
  readonly instrument: string;
  readonly points: number;
  readonly triangles: number;
  readonly unit: string;
  readonly unitFrom: 'file' | 'user';
  readonly boundsMm: ShownBounds;
  /** Lengths of the scan times this are those at 20 degrees Celsius; 1 where no temperature is stated. `jobFromScan` holds it. */
  readonly lengthFactorTo20Celsius: number;
  readonly sha256: string;
  readonly findings: readonly Finding[];
}

/** A list of targets or probed points, as shown. */
export interface ShownList {
  readonly id: string;
  readonly name: string;
  readonly session: string;
  readonly frame: string;
  readonly kind: 'targets' | 'probe';
  readonly count: number;
  readonly unit: string;
  readonly lengthFactorTo20Celsius: number;
  readonly sha256: string;
}

/** A session, as shown. */
export interface ShownSession {
  readonly name: string;
  readonly frame: string;
  readonly instrument: string;
  /** Null where it is not stated. Uncertainties are standard uncertainties. */
  readonly temperature: {
    readonly temperatureCelsius: number;
    readonly uncertaintyKelvin: number;
    readonly material: string | null;
    readonly expansionPerKelvin: number;
    readonly expansionUncertaintyPerKelvin: number;
    readonly lengthFactorTo20Celsius: number;
  } | null;
}

/** Where a scan lies in the job. */
export interface ShownPose {
  /** Id of the scan. */
  readonly scan: string;
  readonly frame: string;
  /** 16 numbers, row-major; maps the scan's coordinates in mm to the job's, with the factor to 20 degrees Celsius and that of an estimated scale in it. Null where refused or not aligned. */
  readonly jobFromScan: readonly number[] | null;
  /** 6 x 6 row-major, order tx ty tz rx ry rz, mm and rad, at `covarianceReferenceMm`. */
  readonly covariance: readonly (readonly number[])[] | null;
  readonly covarianceReferenceMm: Vec3 | null;
  readonly status: 'fixed' | 'adjusted' | 'refused' | 'not-aligned';
  readonly message: string;
  readonly remedy: string;
  readonly rivals: readonly { readonly jobFromScan: readonly number[]; readonly margin: number }[];
}

/** A tie with its residuals. */
export interface ShownTie {
  readonly id: string;
  readonly kind: string;
  readonly frames: readonly [string, string];
  readonly scans: readonly [string, string] | null;
  readonly status: string;
  readonly count: number;
  readonly rmsMm: number | null;
  readonly largestMm: number | null;
  readonly overlapShare: number | null;
  readonly weakDirections: readonly string[];
  /** How many of its numbers the rest of the network checks; null when it was not adjusted. */
  readonly redundancy: number | null;
  /** What the rest of the network says about it; null when it was not tested. */
  readonly test: ShownTieTest | null;
  readonly message: string;
}

/** Test of a tie against the rest of the network. */
export interface ShownTieTest {
  readonly verdict: 'agrees' | 'stands-out' | 'cannot-tell' | 'not-checked';
  readonly statistic: number;
  readonly degreesOfFreedom: number;
  readonly probability: number;
  readonly confusedWith: readonly string[];
  readonly detectableMm: number | null;
  readonly effectMm: number | null;
}

/** A part that stood elsewhere in one of two scans. */
export interface ShownMovedPart {
  readonly scans: readonly [string, string];
  /** Share of the first scan, 0 to 1. */
  readonly share: number;
  readonly middleMm: Vec3;
  /** 16 numbers, row-major: brings the part from where the first scan had it to where the second has it, in the job. */
  readonly motion: readonly number[];
  readonly angleDeg: number;
  readonly shiftMm: number;
  readonly freeDirections: readonly string[];
}

/** The adjustment as a whole. */
export interface ShownAdjustment {
  /** False when scans, lists or ties were added since. */
  readonly upToDate: boolean;
  readonly converged: boolean;
  readonly iterations: number;
  readonly redundancy: number;
  readonly varianceFactor: number | null;
  readonly closures: readonly {
    readonly frames: readonly string[];
    readonly translationMm: number;
    readonly angleDeg: number;
  }[];
  /** Weighted sum of squares against chi-square; null without redundancy. */
  readonly globalTest: {
    readonly passed: boolean;
    readonly statistic: number;
    readonly degreesOfFreedom: number;
    readonly probability: number;
    readonly level: number;
  } | null;
  readonly varianceComponents: readonly {
    readonly group: string;
    readonly factor: number;
    readonly uncertainty: number | null;
    readonly redundancy: number;
    readonly observations: number;
  }[];
  readonly instrumentErrors: readonly {
    readonly instrument: string;
    readonly independentMm: number;
    readonly correlated: readonly { readonly sigmaMm: number; readonly lengthMm: number }[];
    readonly overlaps: number;
    readonly patches: number;
  }[];
  readonly movedParts: readonly ShownMovedPart[];
  /** Errors of length that no residual need show: relative, standard uncertainty; a value where it was estimated. */
  readonly scales: readonly {
    readonly name: string;
    readonly isEstimated: boolean;
    readonly value: number;
    readonly uncertainty: number;
  }[];
  /** Blob with the covariance of all frames together, or null. */
  readonly covarianceSha256: string | null;
  readonly findings: readonly Finding[];
  readonly record: JsonValue;
}

/** The fused surface, as shown. */
export interface ShownFused {
  /** False when the alignment was made again since. */
  readonly upToDate: boolean;
  readonly points: number;
  readonly triangles: number;
  readonly boundsMm: ShownBounds;
  readonly resolutionMm: number;
  readonly scans: readonly string[];
  readonly sha256: string;
  readonly statistics: JsonValue;
  readonly findings: readonly Finding[];
  readonly record: JsonValue;
}

/** Everything `show --json` prints. Keys are described in docs/formats/show.md. */
export interface ShownJob {
  readonly schema: 'lapjoint/show';
  readonly schemaVersion: number;
  readonly engineVersion: string;
  readonly job: { readonly name: string; readonly seed: number; readonly lengthUnit: 'mm' };
  readonly frames: readonly string[];
  readonly sessions: readonly ShownSession[];
  readonly scans: readonly ShownScan[];
  readonly lists: readonly ShownList[];
  readonly poses: readonly ShownPose[];
  readonly ties: readonly ShownTie[];
  readonly adjustment: ShownAdjustment | null;
  readonly fused: ShownFused | null;
}

function rowsOf(matrix: readonly number[]): number[][] {
  return [0, 1, 2, 3, 4, 5].map((row) => matrix.slice(6 * row, 6 * row + 6));
}

/** The pose of the frame after its coordinates were multiplied about its origin: its rotation times the factor. */
function matrixOf(pose: Pose, factor: number): number[] {
  return poseToMatrix16(pose).map((value, i) => (i < 12 && i % 4 < 3 ? factor * value : value));
}

function poseOf(
  scan: { readonly id: string; readonly frame: string },
  pose: FramePose | undefined,
  factor: number,
): ShownPose {
  if (pose === undefined) {
    return {
      scan: scan.id,
      frame: scan.frame,
      jobFromScan: null,
      covariance: null,
      covarianceReferenceMm: null,
      status: 'not-aligned',
      message: 'Not aligned yet.',
      remedy: 'Run align.',
      rivals: [],
    };
  }
  return {
    scan: scan.id,
    frame: scan.frame,
    jobFromScan: pose.jobFromFrame === null ? null : matrixOf(pose.jobFromFrame, factor),
    covariance: pose.covariance === null ? null : rowsOf(pose.covariance),
    covarianceReferenceMm: pose.covarianceReference,
    status: pose.status,
    message: pose.message,
    remedy: pose.remedy,
    rivals: pose.rivals.map(({ jobFromFrame, margin }) => ({ jobFromScan: matrixOf(jobFromFrame, factor), margin })),
  };
}

function sessionOf({ name, frame, instrument, thermal }: JobSession): ShownSession {
  if (thermal === undefined) return { name, frame, instrument, temperature: null };
  return {
    name,
    frame,
    instrument,
    temperature: {
      temperatureCelsius: thermal.temperatureCelsius,
      uncertaintyKelvin: thermal.temperatureUncertainty,
      material: thermal.material,
      expansionPerKelvin: thermal.expansion,
      expansionUncertaintyPerKelvin: thermal.expansionUncertainty,
      lengthFactorTo20Celsius: lengthFactor(thermal),
    },
  };
}

function testOf({ test }: TieResult): ShownTieTest | null {
  if (test === null) return null;
  const { detectable, effect, ...rest } = test;
  return { ...rest, detectableMm: detectable, effectMm: effect };
}

function adjustmentOf(alignment: JobAlignment, upToDate: boolean): ShownAdjustment {
  const { result, findings, record, covarianceSha256 } = alignment;
  const { globalTest } = result;
  const estimated = new Set(estimatedScales(record).map(scaleTermName));
  return {
    upToDate,
    converged: result.converged,
    iterations: result.iterations,
    redundancy: result.redundancy,
    varianceFactor: result.varianceFactor,
    closures: result.closures.map((closure) => ({
      frames: closure.frames,
      translationMm: closure.translation,
      angleDeg: degrees(closure.angle),
    })),
    globalTest: globalTest === null ? null : { passed: globalTest.probability >= globalTest.level, ...globalTest },
    varianceComponents: result.varianceComponents.map(({ observationCount, ...rest }) => ({
      ...rest,
      observations: observationCount,
    })),
    instrumentErrors: result.instrumentErrors.map((errors) => ({
      instrument: errors.instrument,
      independentMm: errors.white,
      correlated: errors.fields.map(({ sigma, length }) => ({ sigmaMm: sigma, lengthMm: length })),
      overlaps: errors.overlapCount,
      patches: errors.patchCount,
    })),
    movedParts: result.movedParts.map((part) => ({
      scans: [part.scanA, part.scanB],
      share: part.share,
      middleMm: part.middle,
      motion: poseToMatrix16(part.motion),
      angleDeg: degrees(part.angle),
      shiftMm: part.shift,
      freeDirections: part.freeDirections,
    })),
    scales: (result.scales ?? []).map(({ name, value, sigma }) => ({
      name,
      isEstimated: estimated.has(name),
      value,
      uncertainty: sigma,
    })),
    covarianceSha256,
    findings,
    record: record as unknown as JsonValue,
  };
}

function degrees(angle: number): number {
  return (angle * 180) / Math.PI;
}

function tiesOf(document: JobDocument): ShownTie[] {
  const results = document.alignment?.result.ties ?? [];
  const waiting = document.ties.filter((tie) => !results.some((result) => result.id === tie.id));
  return [
    ...results.map((tie) => ({
      id: tie.id,
      kind: tie.kind,
      frames: [tie.frameA, tie.frameB] as const,
      scans: tie.scanA === null || tie.scanB === null ? null : ([tie.scanA, tie.scanB] as const),
      status: tie.status,
      count: tie.count,
      rmsMm: tie.rms,
      largestMm: tie.largest,
      overlapShare: tie.overlapShare,
      weakDirections: tie.weakDirections,
      redundancy: tie.redundancy,
      test: testOf(tie),
      message: tie.message,
    })),
    ...waiting.map((tie) => ({
      id: tie.id,
      kind: tie.kind,
      frames: [tie.frameA, tie.frameB] as const,
      scans: tie.kind === 'overlap' ? ([tie.scanA, tie.scanB] as const) : null,
      status: 'not-aligned',
      count: tie.kind === 'picked' ? tie.pairs.length : tie.kind === 'targets' ? tie.names.length : 0,
      rmsMm: null,
      largestMm: null,
      overlapShare: null,
      weakDirections: [],
      redundancy: null,
      test: null,
      message: 'Not used yet; run align.',
    })),
  ];
}

/**
 * What is known about a job, for people's programs: plain JSON, units in the names of the keys.
 *
 * @param upToDate whether alignment and fused surface were made from what the job holds now
 */
export function shownJob(
  document: JobDocument,
  upToDate: { readonly alignment: boolean; readonly fused: boolean },
): ShownJob {
  const instruments = new Map(document.sessions.map((session) => [session.name, session.instrument]));
  const { alignment, fused } = document;
  const frames = new Map((alignment?.result.frames ?? []).map((pose) => [pose.frame, pose]));
  const listOf = (
    item: (JobDocument['targetLists'] | JobDocument['probeSets'])[number],
    kind: 'targets' | 'probe',
    count: number,
  ): ShownList => ({
    id: item.id,
    name: item.name,
    session: item.session,
    frame: item.frame,
    kind,
    count,
    unit: item.unit,
    lengthFactorTo20Celsius: lengthFactorOf(document, item),
    sha256: item.source.sha256,
  });
  return {
    schema: 'lapjoint/show',
    schemaVersion: SHOW_SCHEMA_VERSION,
    engineVersion: ENGINE_VERSION,
    job: { name: document.name, seed: document.seed, lengthUnit: 'mm' },
    frames: document.frames,
    sessions: document.sessions.map(sessionOf),
    scans: document.scans.map((scan) => ({
      id: scan.id,
      name: scan.name,
      session: scan.session,
      frame: scan.frame,
      instrument: instruments.get(scan.session) ?? 'unknown',
      points: scan.pointCount,
      triangles: scan.triangleCount,
      unit: scan.unit,
      unitFrom: scan.unitSource,
      boundsMm: scan.bounds,
      lengthFactorTo20Celsius: lengthFactorOf(document, scan),
      sha256: scan.source.sha256,
      findings: scan.findings,
    })),
    lists: [
      ...document.targetLists.map((list) => listOf(list, 'targets', list.targets.length)),
      ...document.probeSets.map((set) => listOf(set, 'probe', set.points.length)),
    ],
    poses: document.scans.map((scan) => poseOf(scan, frames.get(scan.frame), placedFactorOf(document, scan))),
    ties: tiesOf(document),
    adjustment: alignment === null ? null : adjustmentOf(alignment, upToDate.alignment),
    fused:
      fused === null
        ? null
        : {
            upToDate: upToDate.fused,
            points: fused.pointCount,
            triangles: fused.triangleCount,
            boundsMm: fused.bounds,
            resolutionMm: fused.resolution,
            scans: fused.scans,
            sha256: fused.surfaceSha256,
            statistics: fused.statistics as JsonValue,
            findings: fused.findings,
            record: fused.record as unknown as JsonValue,
          },
  };
}

/**
 * Reads a job and says what is known about it. Needs no lock.
 *
 * @throws AppError those of `openJob`
 */
export async function showJob(folder: string, storage?: JobStoreOptions): Promise<ShownJob> {
  const { document } = await openJob(folder, storage);
  return shownJob(document, resultsUpToDate(document));
}
