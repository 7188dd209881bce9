import { basename } from 'node:path';
import {
  AppError,
  CancelledError,
  type Finding,
  FormatError,
  type InputPlace,
  type InstrumentClass,
  type JobDocument,
  type JobScan,
  type JobSession,
  type LengthUnit,
  type RunContext,
} from '@lapjoint/engine';
import type { JobStore } from '../store/job-store.ts';
import { encodeScanBlob } from '../store/scan-blob.ts';
import { boundsOfScan } from './bounds-of-scan.ts';
import { changeJob, contextOf, type OperationHost } from './change-job.ts';
import { type PlannedSession, planSessions } from './plan-sessions.ts';
import { readScanInput, type UnitPolicy, type UnitQuestion } from './read-input-file.ts';

/** What kind of data a file holds; `auto`: told from its content. */
export type InputKind = 'auto' | 'scan' | 'targets' | 'probe';

/** How to add files. */
export interface AddOptions {
  readonly session?: string;
  readonly frame?: string;
  readonly instrument?: InstrumentClass;
  readonly unit?: LengthUnit;
  readonly kind?: InputKind;
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

/** A document that grows while files are read; the journal gets it as one change at the end. */
class Addition {
  readonly #store: JobStore;
  readonly #options: AddOptions;
  readonly sessions: JobSession[] = [];
  readonly scans: JobScan[] = [];

  constructor(store: JobStore, options: AddOptions) {
    this.#store = store;
    this.#options = options;
  }

  async add(file: string, { session, renamed }: PlannedSession, context: RunContext): Promise<void> {
    const { document, blobs } = this.#store;
    const units: UnitPolicy = {
      stated: this.#options.unit ?? null,
      ask: this.#options.askUnit ?? null,
      referenceSize: largestExtent(document),
    };
    const { source, data, unit, unitSource, findings } = await readScanInput(file, units, context);
    const known = [...document.scans, ...this.scans];
    const twin = known.find((scan) => scan.source.sha256 === source.sha256);
    if (twin !== undefined && this.#options.force !== true) {
      throw new FormatError(
        'already-added',
        `${source.name} has the same content as ${twin.name}, which the job holds as ${twin.id}.`,
        'The same scan twice would count its evidence twice. Use --force if it is meant.',
        { file },
      );
    }
    const id = nextId('scan', known);
    const note: Finding[] = renamed
      ? [
          {
            severity: 'note',
            code: 'session-renamed',
            subject: id,
            message: `The job has another session of this name already, so this one is ${session.name}.`,
            remedy: 'If both are one session, undo and add the file with --session.',
          },
        ]
      : [];
    const dataSha256 = await blobs.put(encodeScanBlob(data));
    this.sessions.push(session);
    this.scans.push({
      id,
      name: source.name,
      session: session.name,
      frame: session.frame,
      unit,
      unitSource,
      pointCount: data.positions.length / 3,
      triangleCount: data.triangles === null ? 0 : data.triangles.length / 3,
      hasNormals: data.normals !== null,
      hasColors: data.colors !== null,
      bounds: boundsOfScan(data),
      source,
      dataSha256,
      findings: [...findings.map((finding) => ({ ...finding, subject: id })), ...note],
    });
  }

  /** Writes all that was read as one change. */
  async commit(): Promise<void> {
    if (this.scans.length === 0) return;
    const names = this.scans.map((scan) => scan.name);
    const shown = names.length > 4 ? `${names.slice(0, 3).join(', ')} and ${names.length - 3} more` : names.join(', ');
    const { sessions, scans } = this;
    await this.#store.commit({ kind: 'added', sessions, scans, targetLists: [], probeSets: [] }, `add ${shown}`);
  }
}

/**
 * Reads files into a job, as one change. Files that cannot be read are listed with the reason; the others are added.
 *
 * Points are stored in mm in the job; the files themselves stay where they are, and the job keeps their hash.
 *
 * @throws AppError `frame-conflict`, `instrument-conflict`, and those of opening and writing the job
 */
export async function addFiles(
  folder: string,
  files: readonly string[],
  options: AddOptions,
  host: OperationHost,
): Promise<AddResult> {
  return changeJob(folder, host.storage, async (store) => {
    const context = contextOf(host, store.document.seed);
    const planned = planSessions(
      store.document,
      files.map((file) => basename(file)),
      {
        session: options.session ?? null,
        frame: options.frame ?? null,
        instrument: options.instrument ?? null,
      },
    );
    const addition = new Addition(store, options);
    const refused: RefusedFile[] = [];
    let cancelled = false;
    for (const [i, file] of files.entries()) {
      const part = context.part(i / files.length, (i + 1) / files.length);
      part.progress(0, `reading ${basename(file)}`);
      try {
        await addition.add(file, planned[i] as PlannedSession, part);
      } catch (error) {
        if (error instanceof CancelledError) {
          cancelled = true;
          break;
        }
        // Trouble with the job's own disk concerns all files; trouble with one file only that file.
        if (!(error instanceof FormatError)) throw error;
        refused.push(refusalOf(file, error));
      }
    }
    await addition.commit();
    return {
      document: store.document,
      added: { scans: addition.scans, targetLists: [], probeSets: [] },
      refused,
      cancelled,
    };
  });
}
