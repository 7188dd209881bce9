import type { RunContext } from '../base/index.ts';
import { compose, invert, type Pose, transformPoint } from '../math/index.ts';
import type { MovedPartResult } from '../model/index.ts';
import type { MovedPart } from '../register/index.ts';
import { LEAST_MATCHES, type PairMemory, pairKey, type RoundScan } from './overlap-round.ts';
import type { TaskRunner } from './task-runner.ts';
import type { MovedPartsOutput, OverlapTask } from './tasks.ts';

/** A moved part of one overlap. */
export interface PairPart {
  readonly a: RoundScan;
  readonly b: RoundScan;
  readonly part: MovedPart;
  /** Share of scan A that lies on scan B under the pose that the frames follow, 0 to 1. */
  readonly restShare: number;
}

/** Change of the points left out, as a share of them, below which the frames need not settle again. */
const SAME_SHARE = 0.01;

/**
 * Looks at every overlap that counts for parts that moved between its sessions; what is found is left out of the pair's
 * measurement from now on.
 *
 * Cost     one screening an overlap; a search only where more samples are unexplained than the smallest part has.
 *
 * @param memory of the rounds: says which overlaps count, and keeps what each leaves out
 * @returns the parts, in the order of the pairs, and whether what is left out changed
 */
export async function findMovedPartsOfRound(
  pairs: readonly (readonly [RoundScan, RoundScan])[],
  jobFromFrame: ReadonlyMap<string, Pose>,
  memory: ReadonlyMap<string, PairMemory>,
  runner: TaskRunner,
  context: RunContext,
): Promise<{ readonly parts: readonly PairPart[]; readonly hasChanged: boolean }> {
  const used = pairs.filter(([a, b]) => (memory.get(pairKey(a, b))?.measured?.form.count ?? 0) >= LEAST_MATCHES);
  const inputs = used.map(([a, b]): OverlapTask => {
    const bFromA = compose(invert(jobFromFrame.get(b.frame) as Pose), jobFromFrame.get(a.frame) as Pose);
    return { a: a.keyed, b: b.keyed, bFromA, options: { exclude: memory.get(pairKey(a, b))?.exclude ?? null } };
  });
  const outputs = (await runner.run('find-moved-parts', inputs, context)) as MovedPartsOutput[];
  const parts: PairPart[] = [];
  let hasChanged = false;
  used.forEach(([a, b], index) => {
    const known = memory.get(pairKey(a, b)) as PairMemory;
    const { exclude } = outputs[index];
    if (isOther(known.exclude, exclude)) hasChanged = true;
    known.exclude = exclude;
    for (const part of outputs[index].parts) {
      parts.push({ a, b, part, restShare: known.measured?.shareOfA ?? 0 });
    }
  });
  return { parts, hasChanged };
}

function isOther(before: PairMemory['exclude'], after: PairMemory['exclude']): boolean {
  if (before === null || after === null) return before !== after;
  return differ(before.a, after.a) || differ(before.b, after.b);
}

function differ(before: Uint32Array, after: Uint32Array): boolean {
  const known = new Set(before);
  let common = 0;
  for (const point of after) if (known.has(point)) common++;
  return before.length + after.length - 2 * common > SAME_SHARE * Math.max(before.length, after.length);
}

/** The parts as a result says them, in the job's frame. */
export function describeMovedParts(
  parts: readonly PairPart[],
  jobFromFrame: ReadonlyMap<string, Pose>,
): MovedPartResult[] {
  return parts.map(({ a, b, part }) => {
    const jobFromA = jobFromFrame.get(a.frame) as Pose;
    const jobFromB = jobFromFrame.get(b.frame) as Pose;
    return {
      scanA: a.id,
      scanB: b.id,
      share: part.share,
      middle: transformPoint(jobFromB, part.middle),
      motion: compose(compose(jobFromB, part.bFromA), invert(jobFromA)),
      angle: part.angle,
      shift: part.shift,
      freeDirections: part.freeDirections,
    };
  });
}

/** Angle, rad, from which a second motion is no part left ajar but an object turned, or its background. */
const LARGE_ANGLE = Math.PI / 18;

/** Says each part as a finding: with the group that the frames follow and why, and what to do when it is the wrong one. */
export function reportMovedParts(
  parts: readonly PairPart[],
  results: readonly MovedPartResult[],
  context: RunContext,
): void {
  parts.forEach(({ a, b, restShare }, index) => {
    const { share, middle, angle, shift } = results[index];
    const percent = (value: number): string => `${(100 * value).toPrecision(2)} %`;
    const place = middle.map((value) => value.toFixed(0)).join(', ');
    const angleDeg = ((angle * 180) / Math.PI).toPrecision(2);
    const how = `turned by ${angleDeg} degrees, shifted by ${shift.toPrecision(2)} mm at its middle`;
    const isFar = angle > LARGE_ANGLE;
    const why = restShare >= share ? 'more of the surface agrees on it' : 'its place was the surer one';
    context.findings.add({
      severity: 'warning',
      code: 'part-moved',
      subject: `overlap-${a.id}-${b.id}`,
      message: isFar
        ? `${a.name} and ${b.name} show two groups of surface that moved differently. The frames follow the one with ` +
          `${percent(restShare)} of ${a.name}, because ${why}; the other, ${percent(share)} around (${place}) mm, is ${how} ` +
          'against it and is left out of this overlap.'
        : `${a.name} and ${b.name}: a part stood differently, ${percent(share)} of the points of ${a.name} around (${place}) ` +
          `mm: ${how}. The frames follow the rest, ${percent(restShare)}; the part is left out of this overlap.`,
      remedy: isFar
        ? 'If the object was turned and the scanner stood still, cut the background away and align again; if a part of the object was moved, say which, or scan it again in one state.'
        : 'Say which part this is and how it stood in each session, or scan it again in one state. If nothing was moved, look for a fault in one of the two scans there.',
    });
  });
}
