import {
  AppError,
  type Bounds,
  type Finding,
  FormatError,
  type JobDocument,
  type LengthUnit,
  MM_PER_UNIT,
  type PointPair,
  type Tie,
  type Vec3,
} from '@lapjoint/engine';
import { changeJob, contextOf, type OperationHost } from './change-job.ts';
import { readUnchanging, withSource } from './read-input-file.ts';
import { type RawPick, type RawPicks, readPicks } from './read-picks.ts';
import { settleUnit, type UnitQuestion } from './settle-unit.ts';
import { recordedSource, spoolInputs } from './spool-input.ts';

/** How to read picked pairs. */
export interface TieOptions {
  /** Scan, session or frame of the first points, where the file does not name it. */
  readonly a?: string;
  readonly b?: string;
  readonly unit?: LengthUnit;
  /** Standard uncertainty of each picked coordinate, mm, where the file gives none. */
  readonly sigma?: number;
  /** Name of the file when it comes from the standard input, which is named `-`. */
  readonly name?: string;
  readonly askUnit?: (question: UnitQuestion) => Promise<LengthUnit | null>;
}

/** What `tie` did. */
export interface TieResultOfJob {
  readonly document: JobDocument;
  readonly ties: readonly Tie[];
  readonly findings: readonly Finding[];
}

/** Rough picks on a surface are good to about this share of the object's size. */
const PICK_SIGMA_SHARE = 0.005;
/** Picks farther outside a scan than this share of its size are no points of it. */
const OUTSIDE_SHARE = 0.1;

/** Frame that a name stands for: a frame, a session, a scan or list by id or file name. */
export function frameOfName(document: JobDocument, name: string): string {
  if (document.frames.includes(name)) return name;
  const session = document.sessions.find((item) => item.name === name);
  if (session !== undefined) return session.frame;
  const items = [...document.scans, ...document.targetLists, ...document.probeSets];
  const frames = new Set(items.filter((item) => item.id === name || item.name === name).map((item) => item.frame));
  const [frame] = frames;
  if (frame !== undefined && frames.size === 1) return frame;
  throw new AppError(
    'unknown-name',
    frames.size > 1
      ? `${name} is the name of several files in this job.`
      : `${name} is no scan, session or frame of this job.`,
    `Use one of: ${[...document.frames, ...document.scans.map((scan) => scan.id)].join(', ')}.`,
  );
}

function boundsOfFrame(document: JobDocument, frame: string): Bounds | null {
  const boxes = document.scans.filter((scan) => scan.frame === frame).map((scan) => scan.bounds);
  if (boxes.length === 0) return null;
  const corner = (pick: (...values: number[]) => number, side: 'min' | 'max'): Vec3 => [
    pick(...boxes.map((box) => box[side][0])),
    pick(...boxes.map((box) => box[side][1])),
    pick(...boxes.map((box) => box[side][2])),
  ];
  return { min: corner(Math.min, 'min'), max: corner(Math.max, 'max') };
}

function sizeOf({ min, max }: Bounds): number {
  return Math.hypot(max[0] - min[0], max[1] - min[1], max[2] - min[2]);
}

function isOutside(point: Vec3, box: Bounds): boolean {
  const margin = OUTSIDE_SHARE * sizeOf(box);
  return point.some((value, i) => value < (box.min[i] ?? 0) - margin || value > (box.max[i] ?? 0) + margin);
}

/**
 * Reads picked pairs into a job as ties, one for each two frames.
 *
 * @throws AppError `unknown-name`; FormatError `picks-invalid`, `unit-unknown`, `picks-same-frame`, `picks-outside` when
 *         points lie far from their scans (a wrong unit, or sides exchanged); and those of opening the job
 */
export async function tieJob(
  folder: string,
  file: string,
  options: TieOptions,
  host: OperationHost,
): Promise<TieResultOfJob> {
  return changeJob(folder, host.storage, async (store) => {
    const { document } = store;
    const context = contextOf(host, document.seed);
    const [input] = await spoolInputs(store, [file], options.name ?? null, host.input ?? null, context.signal);
    if (input === undefined) throw new TypeError('One file gives one input.');
    const read = await readUnchanging(input.path, context, () => withSource(input.path, readPicks));
    const raw = read.content;
    const findings: Finding[] = [];
    const policy = { stated: options.unit ?? null, ask: options.askUnit ?? null, referenceSize: sizeOfJob(document) };
    const { unit } = await settleUnit(unitSubject(raw), file, policy, findings);
    const ties = tiesOf(document, raw, MM_PER_UNIT[unit], options);
    await store.commit(
      { kind: 'tied', ties, source: recordedSource(read.source, input) },
      `tie ${ties.map((tie) => tie.id).join(', ')} from ${raw.name}`,
    );
    await store.blobs.clearTemporary();
    return { document: store.document, ties, findings };
  });
}

function sizeOfJob(document: JobDocument): number | null {
  const sizes = document.scans.map(({ bounds }) =>
    Math.max(...bounds.max.map((value, i) => value - (bounds.min[i] ?? 0))),
  );
  return sizes.length === 0 ? null : Math.max(...sizes);
}

function unitSubject(raw: RawPicks): Parameters<typeof settleUnit>[0] {
  const points = raw.picks.map((pick) => pick.pointA);
  const corner = (pick: (...values: number[]) => number): Vec3 => [
    pick(...points.map((point) => point[0])),
    pick(...points.map((point) => point[1])),
    pick(...points.map((point) => point[2])),
  ];
  return {
    name: raw.name,
    statedUnit: raw.statedUnit,
    bounds: { min: corner(Math.min), max: corner(Math.max) },
    positions: Float64Array.from(points.flat()),
  };
}

function tiesOf(document: JobDocument, raw: RawPicks, factor: number, options: TieOptions): Tie[] {
  const groups = new Map<string, { frameA: string; frameB: string; pairs: PointPair[] }>();
  for (const pick of raw.picks) {
    const frameA = frameOfName(document, sideOf(raw, pick, pick.a ?? options.a, '--a'));
    const frameB = frameOfName(document, sideOf(raw, pick, pick.b ?? options.b, '--b'));
    if (frameA === frameB) {
      throw new FormatError(
        'picks-same-frame',
        `${raw.name}, line ${pick.line}: both points are in frame ${frameA}.`,
        'A tie links two frames. Sessions that share a frame need none.',
        { file: raw.name, line: pick.line },
      );
    }
    const swapped = groups.has(`${frameB}\n${frameA}`);
    const key = swapped ? `${frameB}\n${frameA}` : `${frameA}\n${frameB}`;
    const group = groups.get(key) ?? { frameA, frameB, pairs: [] };
    groups.set(key, group);
    const pair = pairOf(document, raw, pick, factor, options, frameA, frameB);
    group.pairs.push(swapped ? { a: pair.b, b: pair.a, sigma: pair.sigma } : pair);
  }
  const first = document.ties.length + 1;
  return [...groups.values()].map((group, i) => ({ kind: 'picked', id: `picks-${first + i}`, ...group }));
}

function sideOf(raw: RawPicks, pick: RawPick, name: string | undefined, option: string): string {
  if (name !== undefined) return name;
  throw new FormatError(
    'picks-invalid',
    `${raw.name}, line ${pick.line}: the file does not say whose points these are.`,
    `Name the scan, session or frame with ${option}, or in a column ${option.slice(2)}.`,
    { file: raw.name, line: pick.line },
  );
}

function pairOf(
  document: JobDocument,
  raw: RawPicks,
  pick: RawPick,
  factor: number,
  options: TieOptions,
  frameA: string,
  frameB: string,
): PointPair {
  const inMm = (point: Vec3): Vec3 => [factor * point[0], factor * point[1], factor * point[2]];
  const [a, b] = [inMm(pick.pointA), inMm(pick.pointB)];
  let size = 0;
  for (const [point, frame] of [
    [a, frameA],
    [b, frameB],
  ] as const) {
    const box = boundsOfFrame(document, frame);
    if (box === null) continue;
    size = Math.max(size, sizeOf(box));
    if (!isOutside(point, box)) continue;
    throw new FormatError(
      'picks-outside',
      `${raw.name}, line ${pick.line}: the point of ${frame} lies far outside its scans.`,
      'Check the unit (--unit), and whether the two sides were exchanged.',
      { file: raw.name, line: pick.line },
    );
  }
  const sigma = pick.sigma === null ? (options.sigma ?? PICK_SIGMA_SHARE * size) : factor * pick.sigma;
  return { a, b, sigma };
}
