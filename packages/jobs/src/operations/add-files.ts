import {
  AppError,
  CancelledError,
  type Finding,
  FormatError,
  type InputPlace,
  type InstrumentClass,
  type JobDocument,
  type JobProbeSet,
  type JobScan,
  type JobSession,
  type JobTargetList,
  type LengthUnit,
  type RunContext,
  type ScanData,
  type SourceFile,
} from '@lapjoint/engine';
import type { JobStore } from '../store/job-store.ts';
import { encodeScanBlob } from '../store/scan-blob.ts';
import { boundsOfScan } from './bounds-of-scan.ts';
import { changeJob, contextOf, type OperationHost } from './change-job.ts';
import { detectInputKind, type InputKind } from './input-kind.ts';
import { type PlannedSession, planSessions } from './plan-sessions.ts';
import {
  type ProbeInput,
  readProbeInput,
  readScanInput,
  readTargetInput,
  readUnchanging,
  type ScanInput,
  type TargetInput,
  withSource,
} from './read-input-file.ts';
import { NO_THERMAL_WISHES, type ThermalWishes, thermalOfWishes } from './session-thermal.ts';
import type { UnitPolicy, UnitQuestion } from './settle-unit.ts';
import { type InputFile, recordedSource, spoolInputs } from './spool-input.ts';

/** How to add files. */
export interface AddOptions {
  readonly session?: string;
  readonly frame?: string;
  readonly instrument?: InstrumentClass;
  readonly unit?: LengthUnit;
  /** Temperature and material of the object while the files were captured. */
  readonly thermal?: ThermalWishes;
  readonly kind?: InputKind;
  /** Name of the file that comes from the standard input, which is named `-`. */
  readonly name?: string;
  /** Add a file again that the job already holds. */
  readonly force?: boolean;
  /** Asks a person for a unit; without it a file of unknown unit is refused. */
  readonly askUnit?: (question: UnitQuestion) => Promise<LengthUnit | null>;
}

/** A file that was not added, with the reason. */
export interface RefusedFile {
  readonly file: string;
  readonly code: string;
  readonly message: string;
  readonly hint: string;
  readonly place: InputPlace;
}

/** Data of a job that came from files. */
export type AddedItems = Pick<JobDocument, 'scans' | 'targetLists' | 'probeSets'>;

/** What scans, target lists and probed points have in common. */
export type AddedItem = Pick<
  JobScan,
  'id' | 'name' | 'session' | 'frame' | 'unit' | 'unitSource' | 'source' | 'findings'
>;

/** What `add` did. */
export interface AddResult {
  readonly document: JobDocument;
  readonly added: AddedItems;
  readonly refused: readonly RefusedFile[];
  /** Stopped on request before the last file; what was read before is added. */
  readonly cancelled: boolean;
}

function nextId(prefix: string, items: readonly { readonly id: string }[]): string {
  const numbers = items.map(({ id }) => Number(id.slice(prefix.length + 1))).filter(Number.isFinite);
  return `${prefix}-${Math.max(0, ...numbers) + 1}`;
}

function refusalOf(file: string, error: unknown): RefusedFile {
  if (!(error instanceof AppError)) throw error;
  const place = error instanceof FormatError ? error.place : {};
  return { file, code: error.code, message: error.message, hint: error.hint, place };
}

function largestExtent(document: JobDocument): number | null {
  const sizes = document.scans.map(({ bounds }) =>
    Math.max(...bounds.max.map((value, i) => value - (bounds.min[i] ?? 0))),
  );
  return sizes.length === 0 ? null : Math.max(...sizes);
}

/** Items that grow while files are read; the journal gets them as one change at the end. */
class Addition {
  readonly #store: JobStore;
  readonly #options: AddOptions;
  readonly #sessions: JobSession[] = [];
  readonly scans: JobScan[] = [];
  readonly targetLists: JobTargetList[] = [];
  readonly probeSets: JobProbeSet[] = [];

  constructor(store: JobStore, options: AddOptions) {
    this.#store = store;
    this.#options = options;
  }

  get items(): readonly AddedItem[] {
    return [...this.scans, ...this.targetLists, ...this.probeSets];
  }

  /** Reads one file; nothing is added when it throws. */
  async add(input: InputFile, { session, renamed }: PlannedSession, context: RunContext): Promise<void> {
    const { document } = this.#store;
    const file = input.path;
    const asked = this.#options.kind ?? 'auto';
    const kind = asked === 'auto' ? await withSource(file, detectInputKind) : asked;
    const units: UnitPolicy = {
      stated: this.#options.unit ?? null,
      ask: this.#options.askUnit ?? null,
      referenceSize: largestExtent(document),
    };
    const read = await readUnchanging(file, context, (part): Promise<ScanInput | TargetInput | ProbeInput> => {
      if (kind === 'targets') return readTargetInput(file, units, session.instrument);
      if (kind === 'probe') return readProbeInput(file, units, session.instrument);
      return readScanInput(file, units, part);
    });
    const source = recordedSource(read.source, input);
    const { content } = read;
    const known = [...document.scans, ...document.targetLists, ...document.probeSets, ...this.items];
    this.#refuseTwin(source, known, input.typed);
    const id = nextId(kind === 'scan' ? 'scan' : kind === 'targets' ? 'targets' : 'probe', known);
    const common = {
      id,
      name: source.name,
      session: session.name,
      frame: session.frame,
      unit: content.unit,
      unitSource: content.unitSource,
      source,
      findings: [
        ...content.findings.map((finding) => ({ ...finding, subject: id })),
        ...(renamed ? [renamedFinding(id, session.name)] : []),
      ],
    };
    if ('data' in content) this.scans.push(await this.#storeScan(common, content.data));
    else if ('targets' in content) this.targetLists.push({ ...common, targets: content.targets });
    else this.probeSets.push({ ...common, points: content.points });
    this.#sessions.push(session);
  }

  /** Writes all that was read as one change. */
  async commit(): Promise<void> {
    const names = this.items.map((item) => item.name);
    if (names.length === 0) return;
    const shown = names.length > 4 ? `${names.slice(0, 3).join(', ')} and ${names.length - 3} more` : names.join(', ');
    const { scans, targetLists, probeSets } = this;
    await this.#store.commit(
      { kind: 'added', sessions: this.#sessions, scans, targetLists, probeSets },
      `add ${shown}`,
    );
  }

  #refuseTwin(source: SourceFile, known: readonly AddedItem[], file: string): void {
    const twin = known.find((item) => item.source.sha256 === source.sha256);
    if (twin === undefined || this.#options.force === true) return;
    throw new FormatError(
      'already-added',
      `${source.name} has the same content as ${twin.name}, which the job holds as ${twin.id}.`,
      'The same data twice would count their evidence twice. Use --force if it is meant.',
      { file },
    );
  }

  async #storeScan(common: AddedItem, data: ScanData): Promise<JobScan> {
    return {
      ...common,
      pointCount: data.positions.length / 3,
      triangleCount: data.triangles === null ? 0 : data.triangles.length / 3,
      hasNormals: data.normals !== null,
      hasColors: data.colors !== null,
      bounds: boundsOfScan(data),
      dataSha256: await this.#store.blobs.put(encodeScanBlob(data)),
    };
  }
}

function renamedFinding(id: string, session: string): Finding {
  return {
    severity: 'note',
    code: 'session-renamed',
    subject: id,
    message: `The job has another session of this name already, so this one is ${session}.`,
    remedy: 'If both are one session, undo and add the file with --session.',
  };
}

/**
 * Reads files into a job, as one change. Files that cannot be read are listed with the reason; the others are added.
 * The file `-` is the standard input.
 *
 * Points are stored in mm in the job; the files themselves stay where they are, and the job keeps their hash.
 *
 * @throws AppError `frame-conflict`, `instrument-conflict`, `temperature-conflict`, those of `thermalOfWishes`, and those of opening and writing the job
 */
export async function addFiles(
  folder: string,
  files: readonly string[],
  options: AddOptions,
  host: OperationHost,
): Promise<AddResult> {
  return changeJob(folder, host.storage, async (store) => {
    const context = contextOf(host, store.document.seed);
    const inputs = await spoolInputs(store, files, options.name ?? null, host.input ?? null, context.signal);
    const planned = planSessions(
      store.document,
      inputs.map((input) => input.name),
      {
        session: options.session ?? null,
        frame: options.frame ?? null,
        instrument: options.instrument ?? null,
        thermal: thermalOfWishes(options.thermal ?? NO_THERMAL_WISHES),
      },
    );
    const addition = new Addition(store, options);
    const refused: RefusedFile[] = [];
    let cancelled = false;
    for (const [i, input] of inputs.entries()) {
      const part = context.part(i / files.length, (i + 1) / files.length);
      part.progress(0, `reading ${input.name}`);
      try {
        await addition.add(input, planned[i] as PlannedSession, part);
      } catch (error) {
        if (error instanceof CancelledError) {
          cancelled = true;
          break;
        }
        // Trouble with the job's own disk concerns all files; trouble with one file only that file.
        if (!(error instanceof FormatError)) throw error;
        refused.push(refusalOf(input.typed, error));
      }
    }
    await addition.commit();
    await store.blobs.clearTemporary();
    context.progress(1);
    return {
      document: store.document,
      added: addition,
      refused,
      cancelled,
    };
  });
}
