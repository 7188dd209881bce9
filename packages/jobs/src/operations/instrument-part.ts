import {
  INSTRUMENTS,
  type InstrumentClass,
  type InstrumentErrors,
  type JobDocument,
  type JobScan,
} from '@lapjoint/engine';

/** Half of what an instrument sees at once: over longer distances its errors are strangers. Null where nothing is known. */
export function errorReach(instrument: InstrumentClass): number | null {
  const { field } = INSTRUMENTS[instrument];
  return field === null ? null : Math.max(...field) / 2;
}

/** Name under which errors of a scan's instrument are pooled in an alignment. */
export function errorPoolOf(document: JobDocument, scan: JobScan): string {
  const session = document.sessions.find((item) => item.name === scan.session);
  return session === undefined || session.instrument === 'unknown' ? `scan ${scan.id}` : session.instrument;
}

/** Errors that the sheet of a class states: noise, and the constant part of the volumetric error, half of it at either end. */
function sheetErrors(instrument: InstrumentClass): InstrumentErrors | null {
  const { noise, volumetric } = INSTRUMENTS[instrument];
  if (noise === null) return null;
  const constant = (volumetric?.constant ?? 0) / Math.SQRT2;
  const reach = errorReach(instrument);
  return {
    instrument,
    white: reach === null ? Math.hypot(noise, constant) : noise,
    fields: reach === null || constant === 0 ? [] : [{ sigma: constant, length: reach }],
    overlapCount: 0,
    patchCount: 0,
  };
}

/**
 * How the points of a scan err before any placing: as the overlaps of the job showed it, else as the sheet of the class says;
 * null when neither says anything.
 *
 * Assumes  the error across the normal, which no overlap shows, not to be larger than along it.
 */
export function instrumentErrorsOf(document: JobDocument, scan: JobScan): InstrumentErrors | null {
  const pool = errorPoolOf(document, scan);
  const learned = document.alignment?.result.instrumentErrors.find((item) => item.instrument === pool);
  if (learned !== undefined && learned.overlapCount > 0) return learned;
  const session = document.sessions.find((item) => item.name === scan.session);
  return sheetErrors(session?.instrument ?? 'unknown');
}

/** Variance of each coordinate of one point, mm^2. */
export function pointErrorVariance({ white, fields }: InstrumentErrors): number {
  return white * white + fields.reduce((sum, { sigma }) => sum + sigma * sigma, 0);
}

/** Variance of the difference of two points of one scan: near ones share the slow errors, mm^2. */
export function differenceErrorVariance({ white, fields }: InstrumentErrors, distance: number): number {
  const share = (length: number): number => (length > 0 ? Math.exp(-((distance / length) ** 2)) : 0);
  return 2 * (white * white + fields.reduce((sum, { sigma, length }) => sum + sigma * sigma * (1 - share(length)), 0));
}
