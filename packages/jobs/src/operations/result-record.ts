import {
  ENGINE_VERSION,
  INSTRUMENTS,
  type InstrumentClass,
  type JobDocument,
  type JobScan,
  type JsonValue,
  type ResultRecord,
  type ScaleTerm,
} from '@lapjoint/engine';
import { sha256Of } from '../store/blob-store.ts';
import { lengthFactorOf, lengthFactorOfFrame, placedFactorOf } from './length-factors.ts';
import { scaleTermName, scaleTermsOf } from './scale-terms.ts';

/** Noise of a scan from the sheet of its instrument's class, mm; null: to be estimated from the scan. */
export function sheetNoise(document: JobDocument, scan: JobScan): number | null {
  const session = document.sessions.find((item) => item.name === scan.session);
  return INSTRUMENTS[session?.instrument ?? 'unknown'].noise;
}

/** SHA-256 of a value's JSON text. */
export function sha256OfJson(value: unknown): string {
  return sha256Of([new TextEncoder().encode(JSON.stringify(value))]);
}

/** The factor to 20 degrees Celsius, where there is one. */
function factorEntry(factor: number): { readonly lengthFactor?: number } {
  return factor === 1 ? {} : { lengthFactor: factor };
}

/** Record of an alignment of what the job holds now. Equal records mean equal results. */
export function alignmentRecord(
  document: JobDocument,
  options: Readonly<Record<string, JsonValue>>,
  scaleTerms: readonly ScaleTerm[],
): ResultRecord {
  return {
    operation: 'align',
    inputs: [
      ...document.scans.map((scan) => scan.dataSha256),
      ...document.targetLists.map((list) => list.source.sha256),
      ...(document.ties.length > 0 ? [sha256OfJson(document.ties)] : []),
    ],
    parameters: {
      ...options,
      frames: document.frames,
      scans: document.scans.map((scan) => ({
        id: scan.id,
        frame: scan.frame,
        noise: sheetNoise(document, scan),
        ...factorEntry(lengthFactorOf(document, scan)),
      })),
      targetLists: document.targetLists.map((list) => ({
        id: list.id,
        frame: list.frame,
        unit: list.unit,
        ...factorEntry(lengthFactorOf(document, list)),
      })),
      ties: document.ties.map((tie) => ({
        id: tie.id,
        lengthFactors: [lengthFactorOfFrame(document, tie.frameA), lengthFactorOfFrame(document, tie.frameB)],
      })),
      scaleTerms: scaleTerms.map((term) => ({ ...term, coefficients: Object.fromEntries(term.coefficients) })),
    },
    seed: document.seed,
    engineVersion: ENGINE_VERSION,
  };
}

/** Record of a fusion of the scans as they are placed now; null when the job is not aligned. */
export function fusionRecord(document: JobDocument, options: Readonly<Record<string, JsonValue>>): ResultRecord | null {
  if (document.alignment === null) return null;
  const placed = placedScans(document);
  return {
    operation: 'fuse',
    inputs: [
      ...placed.map((scan) => scan.dataSha256),
      sha256OfJson(document.alignment.result),
      ...(document.alignment.covarianceSha256 === null ? [] : [document.alignment.covarianceSha256]),
    ],
    parameters: {
      ...options,
      scans: placed.map((scan) => ({
        id: scan.id,
        noise: sheetNoise(document, scan),
        ...factorEntry(placedFactorOf(document, scan)),
      })),
    },
    seed: document.seed,
    engineVersion: ENGINE_VERSION,
  };
}

/** Scans whose frame has a pose. */
export function placedScans(document: JobDocument): JobScan[] {
  const placed = new Set(
    (document.alignment?.result.frames ?? []).filter((pose) => pose.jobFromFrame !== null).map((pose) => pose.frame),
  );
  return document.scans.filter((scan) => placed.has(scan.frame));
}

/** Whether two records describe the same computation, apart from options of their own. */
export function sameInputs(a: ResultRecord, b: ResultRecord | null): boolean {
  if (b === null) return false;
  const compared = ({ inputs, seed, parameters }: ResultRecord): string =>
    JSON.stringify([
      inputs,
      seed,
      ...['scans', 'frames', 'targetLists', 'ties', 'scaleTerms'].map((name) => parameters[name] ?? null),
    ]);
  return compared(a) === compared(b);
}

/** Whether alignment and fused surface of a job were made from what it holds now. */
export function resultsUpToDate(document: JobDocument): { readonly alignment: boolean; readonly fused: boolean } {
  const { alignment, fused } = document;
  const alignmentHolds =
    alignment !== null &&
    sameInputs(
      alignment.record,
      alignmentRecord(document, {}, scaleTermsOf(document, estimatedScales(alignment.record))),
    );
  return {
    alignment: alignmentHolds,
    fused: alignmentHolds && fused !== null && sameInputs(fused.record, fusionRecord(document, {})),
  };
}

/** Classes whose scale an alignment estimated, by its record. */
export function estimatedScales(record: ResultRecord): InstrumentClass[] {
  const terms = record.parameters['scaleTerms'] as readonly { readonly name: string; readonly isEstimated: boolean }[];
  const estimated = (terms ?? []).filter((term) => term.isEstimated).map((term) => term.name);
  return (Object.keys(INSTRUMENTS) as InstrumentClass[]).filter((name) => estimated.includes(scaleTermName(name)));
}
