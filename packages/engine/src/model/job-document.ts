import type { Finding } from '../base/index.ts';
import type { AlignmentResult } from './alignment.ts';
import type { InstrumentClass } from './instrument.ts';
import type { Bounds, LengthUnit, ProbedPoint, Target } from './scan.ts';
import type { Tie } from './tie.ts';

/** Version of the engine that results name; equal to the version in package.json (a test says so). */
export const ENGINE_VERSION = '0.1.0';

/** Version of the job document and of the changes in a journal. Raised when older programs could not read it. */
export const JOB_SCHEMA_VERSION = 1;

/** What JSON can say. */
export type JsonValue = null | boolean | number | string | readonly JsonValue[] | { readonly [key: string]: JsonValue };

/** How a result came about: enough to repeat it bit for bit. */
export interface ResultRecord {
  readonly operation: string;
  /** SHA-256 of every blob that was used, in the order of use. */
  readonly inputs: readonly string[];
  readonly parameters: Readonly<Record<string, JsonValue>>;
  readonly seed: number;
  readonly engineVersion: string;
}

/** A file of the user's. It stays where it is and is never changed; the job keeps its hash. */
export interface SourceFile {
  readonly path: string;
  readonly name: string;
  readonly byteLength: number;
  readonly sha256: string;
}

/**
 * Temperature of the object during a session, and how its material expands: what it takes to report lengths at 20 degrees
 * Celsius (ISO 1). The numbers that were used are kept, whatever a later table of materials says.
 */
export interface SessionThermal {
  /** Degrees Celsius. */
  readonly temperatureCelsius: number;
  /** Standard uncertainty, K. */
  readonly temperatureUncertainty: number;
  /** Name in the table of materials; null where the coefficient itself was stated. */
  readonly material: string | null;
  /** Coefficient of linear expansion, 1/K. */
  readonly expansion: number;
  /** Standard uncertainty, 1/K. */
  readonly expansionUncertainty: number;
}

/** One continuous capture with one instrument. Sessions that name the same frame share a reference. */
export interface JobSession {
  readonly name: string;
  readonly frame: string;
  readonly instrument: InstrumentClass;
  /** Left out: nobody has stated it, and lengths hold at the temperature of the capture. */
  readonly thermal?: SessionThermal;
}

/** Who said which unit a file is in. `file`: the file itself. `user`: stated or confirmed by the user. */
export type UnitSource = 'file' | 'user';

/** One scan of a job. Lengths mm, in the frame's coordinates. */
export interface JobScan {
  readonly id: string;
  /** The file's name. */
  readonly name: string;
  readonly session: string;
  readonly frame: string;
  readonly unit: LengthUnit;
  readonly unitSource: UnitSource;
  readonly pointCount: number;
  readonly triangleCount: number;
  readonly hasNormals: boolean;
  readonly hasColors: boolean;
  readonly bounds: Bounds;
  readonly source: SourceFile;
  /** SHA-256 of the blob that holds the points (docs/formats/job-folder.md). */
  readonly dataSha256: string;
  readonly findings: readonly Finding[];
}

/** The targets of one session. */
export interface JobTargetList {
  readonly id: string;
  readonly name: string;
  readonly session: string;
  readonly frame: string;
  readonly unit: LengthUnit;
  readonly unitSource: UnitSource;
  readonly targets: readonly Target[];
  readonly source: SourceFile;
  readonly findings: readonly Finding[];
}

/** Points touched with a probe in one session. */
export interface JobProbeSet {
  readonly id: string;
  readonly name: string;
  readonly session: string;
  readonly frame: string;
  readonly unit: LengthUnit;
  readonly unitSource: UnitSource;
  readonly points: readonly ProbedPoint[];
  readonly source: SourceFile;
  readonly findings: readonly Finding[];
}

/** Result of `align` as a job keeps it. */
export interface JobAlignment {
  readonly record: ResultRecord;
  /** Its `jointCovariance` is null here: it lies in a blob. */
  readonly result: AlignmentResult;
  /** Blob with the covariance of all frames together; null when nothing was adjusted, or by a version that kept none. */
  readonly covarianceSha256: string | null;
  /**
   * By frame, what its coordinates (at 20 degrees Celsius) are multiplied by before the frame's pose, where the scale of an
   * instrument was estimated; frames that are not named: 1.
   */
  readonly frameFactors?: Readonly<Record<string, number>>;
  readonly findings: readonly Finding[];
}

/** Result of `fuse` as a job keeps it. Lengths mm. */
export interface JobFused {
  readonly record: ResultRecord;
  /** Blob with points, triangles, normals and colours in the job's frame. */
  readonly surfaceSha256: string;
  /** Blob with the per-vertex attributes, or null. */
  readonly attributesSha256: string | null;
  readonly pointCount: number;
  readonly triangleCount: number;
  readonly bounds: Bounds;
  /** Edge length of the cells the surface was made from. */
  readonly resolution: number;
  /** Scans that are part of it. */
  readonly scans: readonly string[];
  readonly statistics: Readonly<Record<string, JsonValue>>;
  readonly findings: readonly Finding[];
}

/** Everything a job knows, as plain data. Rebuilt from the journal; never edited by hand. */
export interface JobDocument {
  readonly schemaVersion: number;
  readonly name: string;
  readonly seed: number;
  /** In the order in which they came in. */
  readonly frames: readonly string[];
  readonly sessions: readonly JobSession[];
  readonly scans: readonly JobScan[];
  readonly targetLists: readonly JobTargetList[];
  readonly probeSets: readonly JobProbeSet[];
  readonly ties: readonly Tie[];
  readonly alignment: JobAlignment | null;
  readonly fused: JobFused | null;
}

/** One step of a job's history that can be undone (all but the first). */
export type JobChange =
  | { readonly kind: 'created'; readonly schemaVersion: number; readonly name: string; readonly seed: number }
  | {
      readonly kind: 'added';
      readonly sessions: readonly JobSession[];
      readonly scans: readonly JobScan[];
      readonly targetLists: readonly JobTargetList[];
      readonly probeSets: readonly JobProbeSet[];
    }
  | { readonly kind: 'tied'; readonly ties: readonly Tie[]; readonly source: SourceFile }
  | { readonly kind: 'aligned'; readonly alignment: JobAlignment }
  | { readonly kind: 'fused'; readonly fused: JobFused };

/** The document before the first change. */
export const EMPTY_JOB_DOCUMENT: JobDocument = {
  schemaVersion: JOB_SCHEMA_VERSION,
  name: '',
  seed: 1,
  frames: [],
  sessions: [],
  scans: [],
  targetLists: [],
  probeSets: [],
  ties: [],
  alignment: null,
  fused: null,
};

/**
 * The document after one more change. Pure: replaying the changes of a journal gives the same document everywhere.
 *
 * Results stay when what they were made from changes; their records tell whether they still hold.
 */
export function applyJobChange(document: JobDocument, change: JobChange): JobDocument {
  switch (change.kind) {
    case 'created':
      return { ...EMPTY_JOB_DOCUMENT, schemaVersion: change.schemaVersion, name: change.name, seed: change.seed };
    case 'added': {
      const sessions = [...document.sessions];
      for (const session of change.sessions) {
        const at = sessions.findIndex((known) => known.name === session.name);
        const known = sessions[at];
        if (known === undefined) sessions.push(session);
        // The temperature of a session may be stated when further files of it are added.
        else if (known.thermal === undefined && session.thermal !== undefined) sessions[at] = session;
      }
      return {
        ...document,
        sessions,
        frames: [...new Set([...document.frames, ...sessions.map((session) => session.frame)])],
        scans: [...document.scans, ...change.scans],
        targetLists: [...document.targetLists, ...change.targetLists],
        probeSets: [...document.probeSets, ...change.probeSets],
      };
    }
    case 'tied':
      return { ...document, ties: [...document.ties, ...change.ties] };
    case 'aligned':
      return { ...document, alignment: withLaterFields(change.alignment) };
    case 'fused':
      return { ...document, fused: change.fused };
  }
}

/** Journals of early versions lack what results say today. */
function withLaterFields(alignment: JobAlignment): JobAlignment {
  const missing = {
    jointCovariance: null,
    globalTest: null,
    varianceComponents: [],
    instrumentErrors: [],
    movedParts: [],
  } as const;
  const { result } = alignment;
  const ties = result.ties.map((tie) => ({ ...{ redundancy: null, test: null }, ...tie }));
  return {
    ...alignment,
    covarianceSha256: alignment.covarianceSha256 ?? null,
    result: { ...missing, ...result, ties },
  };
}

/** SHA-256 of every blob that the document refers to, each once. */
export function blobsOfJobDocument(document: JobDocument): string[] {
  const blobs = document.scans.map((scan) => scan.dataSha256);
  const covariance = document.alignment?.covarianceSha256 ?? null;
  if (covariance !== null) blobs.push(covariance);
  if (document.fused !== null) {
    blobs.push(document.fused.surfaceSha256);
    if (document.fused.attributesSha256 !== null) blobs.push(document.fused.attributesSha256);
  }
  return [...new Set(blobs)];
}
