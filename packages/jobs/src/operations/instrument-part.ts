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

/** Name under which errors of a scan's instrument are pooled in an alignment: its class; scans of unknown ones count as one. */
export function errorPoolOf(document: JobDocument, scan: JobScan): InstrumentClass {
  return instrumentClassOf(document, scan);
}

/** Length over which what a sheet calls the constant part of its length errors hangs together, mm: sheets speak of metres. */
const VOLUMETRIC_LENGTH = 1000;

function instrumentClassOf(document: JobDocument, scan: JobScan): InstrumentClass {
  return document.sessions.find((item) => item.name === scan.session)?.instrument ?? 'unknown';
}

function learnedErrors(document: JobDocument, scan: JobScan): InstrumentErrors | null {
  const pool = errorPoolOf(document, scan);
  const learned = document.alignment?.result.instrumentErrors.find((item) => item.instrument === pool);
  return learned !== undefined && learned.overlapCount > 0 ? learned : null;
}

/**
 * How matches of a scan's surface with others err: as the overlaps of the job showed it, else the noise of the sheet; null when
 * neither says anything.
 */
export function instrumentErrorsOf(document: JobDocument, scan: JobScan): InstrumentErrors | null {
  const learned = learnedErrors(document, scan);
  if (learned !== null) return learned;
  const instrument = instrumentClassOf(document, scan);
  const { noise } = INSTRUMENTS[instrument];
  return noise === null ? null : { instrument, white: noise, fields: [], overlapCount: 0, patchCount: 0 };
}

/**
 * How single points of a scan err before any placing; null when nobody says anything.
 *
 * Method   independent part: the noise of the sheet, or less where the overlaps showed less; what they show beyond it is two
 *          meshes that cut the surface differently, which is no error of a point. Correlated parts: as the overlaps showed
 *          them. And what no overlap shows: the constant part of the sheet's length error, half of its square at either end.
 * Assumes  the error across the normal, which no overlap shows either, not to be larger than along it.
 */
export function pointErrorsOf(document: JobDocument, scan: JobScan): InstrumentErrors | null {
  const matches = instrumentErrorsOf(document, scan);
  if (matches === null) return null;
  const { noise, volumetric } = INSTRUMENTS[instrumentClassOf(document, scan)];
  const constant = (volumetric?.constant ?? 0) / Math.SQRT2;
  return {
    ...matches,
    white: Math.min(matches.white, noise ?? Infinity),
    fields: [...matches.fields, ...(constant > 0 ? [{ sigma: constant, length: VOLUMETRIC_LENGTH }] : [])],
  };
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
