import { join, resolve } from 'node:path';
import { renderReport, translateReport } from '@lapjoint/engine';
import { openJob } from '../store/job-store.ts';
import { changeJob, contextOf, type OperationHost } from './change-job.ts';
import { reportInputOfJob } from './report-input-of-job.ts';
import { refuseOverwriting, writeExport } from './write-export.ts';

/** Where the report goes. */
export interface ReportOptions {
  /** File to write; `report.html` in the job folder when left out. */
  readonly output?: string;
  readonly force?: boolean;
  /** The `truth.json` of a simulated job, to compare with. */
  readonly truth?: string;
}

/** What was written. */
export interface ReportResult {
  readonly path: string;
  readonly byteLength: number;
}

/**
 * The report of a job as one HTML page, in memory. Needs no lock.
 *
 * @throws AppError those of opening and reading the job
 */
export async function reportText(
  folder: string,
  truth: string | null,
  host: Omit<OperationHost, 'runner'>,
): Promise<string> {
  const store = await openJob(folder, host.storage);
  const input = await reportInputOfJob(store, truth, contextOf(host, store.document.seed));
  return translateReport(renderReport(input), host.catalogue ?? null);
}

/**
 * Writes the report of a job: one HTML file, self-contained. An earlier report of the job is replaced; any other file
 * only when forced.
 *
 * @throws AppError `file-exists`, and those of opening and reading the job
 */
export async function reportJob(folder: string, options: ReportOptions, host: OperationHost): Promise<ReportResult> {
  const path = resolve(options.output ?? join(folder, 'report.html'));
  return changeJob(folder, host.storage, async (store) => {
    await refuseOverwriting(store, path, options.force === true);
    const context = contextOf(host, store.document.seed);
    const input = await reportInputOfJob(store, options.truth ?? null, context);
    const content = new TextEncoder().encode(translateReport(renderReport(input), host.catalogue ?? null));
    await writeExport(store, path, content, options.force === true, `report ${path}`);
    return { path, byteLength: content.byteLength };
  });
}
