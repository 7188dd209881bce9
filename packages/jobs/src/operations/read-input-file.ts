import { stat } from 'node:fs/promises';
import {
  type AppError,
  type Finding,
  FormatError,
  type LengthUnit,
  type RawScan,
  type RunContext,
  readScanFile,
  type ScanData,
  type SourceFile,
  toScanData,
  type UnitProposal,
  type UnitSource,
  unitProposal,
} from '@lapjoint/engine';
import { openByteSource } from '../byte-source.ts';
import { hashFile, inputFileError } from './hash-file.ts';

/** A question for the length unit of a file that does not state it. */
export interface UnitQuestion {
  readonly file: string;
  readonly proposal: UnitProposal;
}

/** How units are settled: by a statement, by the file, or by asking. */
export interface UnitPolicy {
  /** What a person stated for all files. */
  readonly stated: LengthUnit | null;
  /** Asks a person; null when nobody can be asked, or no answer came. */
  readonly ask: ((question: UnitQuestion) => Promise<LengthUnit | null>) | null;
  /** Largest extent of scans already in the job, mm. */
  readonly referenceSize: number | null;
}

/** A scan that was read. */
export interface ScanInput {
  readonly source: SourceFile;
  readonly data: ScanData;
  readonly unit: LengthUnit;
  readonly unitSource: UnitSource;
  readonly findings: readonly Finding[];
}

/**
 * Reads a scan file and settles its unit.
 *
 * @throws FormatError when it cannot be read, holds fewer than three different points, changed while it was read, or
 *         its unit is not known (`unit-unknown`, with the proposal in the hint)
 */
export async function readScanInput(path: string, units: UnitPolicy, context: RunContext): Promise<ScanInput> {
  const before = await modified(path);
  const source = await hashFile(path, context.part(0, 0.2));
  const raw = await readRaw(path, source.name, context.part(0.2, 0.9));
  if ((await modified(path)) !== before) {
    throw new FormatError(
      'file-changing',
      `${source.name} changed while it was read.`,
      'Wait until the program that writes it is done, and add it again.',
      { file: path },
    );
  }
  refuseDegenerate(raw, path);
  const findings = [...raw.findings];
  const { unit, unitSource } = await settleUnit(raw, path, units, findings);
  const data = toScanData(raw, unit);
  await context.checkpoint(1);
  return { source, data, unit, unitSource, findings };
}

async function modified(path: string): Promise<string> {
  try {
    const { size, mtimeMs } = await stat(path);
    return `${size} ${mtimeMs}`;
  } catch (error) {
    throw inputFileError(error, path);
  }
}

async function readRaw(path: string, name: string, context: RunContext): Promise<RawScan> {
  try {
    const source = await openByteSource(path);
    try {
      return await readScanFile(source, { subject: name }, context);
    } finally {
      await source.close();
    }
  } catch (error) {
    throw inputFileError(error, path);
  }
}

/** No measuring starts from fewer than three points, or from points that all coincide. */
function refuseDegenerate(raw: RawScan, path: string): void {
  const count = raw.positions.length / 3;
  if (count < 3) {
    const dropped = raw.counts.pointsDropped > 0 ? ` (${raw.counts.pointsDropped} without finite coordinates)` : '';
    throw new FormatError(
      count === 0 ? 'scan-without-points' : 'scan-too-few-points',
      `${raw.name} holds ${count === 0 ? 'no points' : `only ${count} point${count === 1 ? '' : 's'}`}${dropped}.`,
      'Look at the export of the scan; at least three different points are needed.',
      { file: path },
    );
  }
  const { min, max } = raw.bounds;
  if (min[0] === max[0] && min[1] === max[1] && min[2] === max[2]) {
    throw new FormatError(
      'scan-one-place',
      `All ${count} points of ${raw.name} are the same.`,
      'Export the scan again.',
      {
        file: path,
      },
    );
  }
}

async function settleUnit(
  raw: RawScan,
  path: string,
  units: UnitPolicy,
  findings: Finding[],
): Promise<{ unit: LengthUnit; unitSource: UnitSource }> {
  if (units.stated !== null) {
    if (raw.statedUnit !== null && raw.statedUnit !== units.stated) {
      findings.push({
        severity: 'warning',
        code: 'unit-overruled',
        subject: raw.name,
        message: `The file states ${raw.statedUnit}, but ${units.stated} was stated for it and is used.`,
        remedy: `If the file is right, undo and add it again without a unit.`,
      });
    }
    return { unit: units.stated, unitSource: 'user' };
  }
  if (raw.statedUnit !== null) return { unit: raw.statedUnit, unitSource: 'file' };
  const proposal = unitProposal(raw, units.referenceSize);
  const answer = (await units.ask?.({ file: path, proposal })) ?? null;
  if (answer !== null) return { unit: answer, unitSource: 'user' };
  throw unitUnknown(raw.name, path, proposal);
}

/** The refusal of a file whose unit nobody stated. */
export function unitUnknown(name: string, path: string, proposal: UnitProposal): AppError {
  const hint =
    proposal.unit === null
      ? `${proposal.question} State it with --unit.`
      : `Proposed: --unit ${proposal.unit}. ${proposal.question}`;
  return new FormatError('unit-unknown', `${name} does not state its length unit, and none was given.`, hint, {
    file: path,
  });
}
