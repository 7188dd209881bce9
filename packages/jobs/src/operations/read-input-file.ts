import { stat } from 'node:fs/promises';
import {
  type ByteSource,
  type Finding,
  FormatError,
  INSTRUMENTS,
  type InstrumentClass,
  type JobProbeSet,
  type JobTargetList,
  type RawScan,
  type RunContext,
  readProbedPoints,
  readScanFile,
  readTargetList,
  type ScanData,
  type SourceFile,
  toProbedPoints,
  toScanData,
  toTargets,
} from '@lapjoint/engine';
import { openByteSource } from '../byte-source.ts';
import { hashFile, inputFileError } from './hash-file.ts';
import { type SettledUnit, settleUnit, type UnitPolicy } from './settle-unit.ts';

/** A scan that was read. */
export interface ScanInput extends SettledUnit {
  readonly data: ScanData;
  readonly findings: readonly Finding[];
}

/** A target list that was read. */
export type TargetInput = Pick<JobTargetList, 'unit' | 'unitSource' | 'targets' | 'findings'>;

/** Probed points that were read. */
export type ProbeInput = Pick<JobProbeSet, 'unit' | 'unitSource' | 'points' | 'findings'>;

/** Standard uncertainty of a target's coordinates when neither file nor instrument says, mm. */
const UNKNOWN_SIGMA = 0.1;

/** Opens a file for as long as an action lasts; errors of the operating system become refusals of the file. */
export async function withSource<T>(path: string, action: (source: ByteSource) => Promise<T>): Promise<T> {
  try {
    const source = await openByteSource(path);
    try {
      return await action(source);
    } finally {
      await source.close();
    }
  } catch (error) {
    throw inputFileError(error, path);
  }
}

/**
 * Hash of a file, and what was read from it.
 *
 * @throws FormatError `file-changing` when it changed meanwhile, and those of reading
 */
export async function readUnchanging<T>(
  path: string,
  context: RunContext,
  read: (context: RunContext) => Promise<T>,
): Promise<{ readonly source: SourceFile; readonly content: T }> {
  const before = await modified(path);
  const source = await hashFile(path, context.part(0, 0.2));
  const content = await read(context.part(0.2, 1));
  if ((await modified(path)) === before) return { source, content };
  throw new FormatError(
    'file-changing',
    `${source.name} changed while it was read.`,
    'Wait until the program that writes it is done, and add it again.',
    { file: path },
  );
}

/**
 * Reads a scan file and settles its unit.
 *
 * @throws FormatError when it cannot be read, holds fewer than three different points, or its unit is not known
 *         (`unit-unknown`, with the proposal in the hint)
 */
export async function readScanInput(path: string, units: UnitPolicy, context: RunContext): Promise<ScanInput> {
  const raw = await withSource(path, (source) => readScanFile(source, {}, context.part(0, 0.95)));
  refuseDegenerate(raw, path);
  const findings = [...raw.findings];
  const settled = await settleUnit(raw, path, units, findings);
  return { ...settled, data: toScanData(raw, settled.unit, { useUp: true }), findings };
}

/** What the question for a unit needs to know of a list. */
function asUnitSubject(
  name: string,
  statedUnit: RawScan['statedUnit'],
  points: readonly (readonly [number, number, number])[],
): Pick<RawScan, 'name' | 'bounds' | 'statedUnit' | 'positions'> {
  const corner = (pick: (...values: number[]) => number): readonly [number, number, number] => [
    pick(...points.map((point) => point[0])),
    pick(...points.map((point) => point[1])),
    pick(...points.map((point) => point[2])),
  ];
  const bounds = { min: corner(Math.min), max: corner(Math.max) };
  return { name, bounds, statedUnit, positions: Float64Array.from(points.flat()) };
}

function sigmaFinding(name: string, sigma: number, instrument: InstrumentClass): Finding {
  const from = INSTRUMENTS[instrument].noise === null ? 'an assumption' : `the sheet of the class ${instrument}`;
  return {
    severity: 'note',
    code: 'list-sigma-assumed',
    subject: name,
    message: `The file gives no uncertainty for some coordinates; ${sigma} mm are taken, ${from}.`,
    remedy: 'Give a column sigma if it is known.',
  };
}

/**
 * Reads a target list and settles its unit.
 *
 * @throws FormatError as `readScanInput`
 */
export async function readTargetInput(
  path: string,
  units: UnitPolicy,
  instrument: InstrumentClass,
): Promise<TargetInput> {
  const raw = await withSource(path, readTargetList);
  const findings: Finding[] = [];
  const positions = raw.targets.map((target) => target.position);
  const settled = await settleUnit(asUnitSubject(raw.name, raw.statedUnit, positions), path, units, findings);
  const sigma = INSTRUMENTS[instrument].noise ?? UNKNOWN_SIGMA;
  if (raw.sigmas.includes(null)) findings.push(sigmaFinding(raw.name, sigma, instrument));
  return { ...settled, targets: toTargets(raw, settled.unit, sigma), findings };
}

/**
 * Reads probed points and settles their unit.
 *
 * @throws FormatError as `readScanInput`
 */
export async function readProbeInput(
  path: string,
  units: UnitPolicy,
  instrument: InstrumentClass,
): Promise<ProbeInput> {
  const raw = await withSource(path, readProbedPoints);
  const findings: Finding[] = [];
  const positions = raw.points.map((point) => point.position);
  const settled = await settleUnit(asUnitSubject(raw.name, raw.statedUnit, positions), path, units, findings);
  const sigma = INSTRUMENTS[instrument].noise ?? UNKNOWN_SIGMA;
  if (raw.points.some((point) => point.sigma === null)) findings.push(sigmaFinding(raw.name, sigma, instrument));
  if (raw.points.some((point) => point.tipRadius === null)) {
    findings.push({
      severity: 'warning',
      code: 'probe-tip-radius-missing',
      subject: raw.name,
      message: 'The file gives no tip radius for some points; they are taken as points of the surface itself.',
      remedy: 'If the coordinates are those of the centre of the tip, give a column tip_radius and add the file again.',
    });
  }
  return { ...settled, points: toProbedPoints(raw, settled.unit, { tipRadiusMm: 0, sigmaMm: sigma }), findings };
}

async function modified(path: string): Promise<string> {
  try {
    const { size, mtimeMs } = await stat(path);
    return `${size} ${mtimeMs}`;
  } catch (error) {
    throw inputFileError(error, path);
  }
}

/** The reader only warns of these; in a job no measuring starts from fewer than three points, or one place. */
function refuseDegenerate(raw: RawScan, path: string): void {
  const reason = raw.findings.find(({ code }) => code === 'scan-too-few-points' || code === 'scan-points-all-equal');
  if (reason === undefined) return;
  throw new FormatError(reason.code, `${raw.name}: ${reason.message}`, reason.remedy, { file: path });
}
