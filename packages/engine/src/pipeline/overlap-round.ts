import type { RunContext } from '../base/index.ts';
import { compose, distance, invert, type Pose, rotate, transformPoint, type Vec3 } from '../math/index.ts';
import type { OverlapObservation } from '../model/index.ts';
import type { OverlapMeasurement } from '../register/index.ts';
import type { KeyedScan } from './interned-scan.ts';
import type { TaskRunner } from './task-runner.ts';
import type { OverlapTask } from './tasks.ts';

/** A scan that takes part in the rounds, with its bounding sphere in its frame. */
export interface RoundScan {
  readonly id: string;
  readonly name: string;
  readonly frame: string;
  readonly keyed: KeyedScan;
  /** Middle of its box and half the diagonal, mm. */
  readonly middle: Vec3;
  readonly reach: number;
}

/** What is remembered of a pair of scans from round to round. */
export interface PairMemory {
  /** Samples taken of each scan: more where the overlap is a small part. */
  sampleCount: number;
  measured: OverlapMeasurement | null;
}

/** Matches without which an overlap says nothing: six unknowns, ten for each. */
const LEAST_MATCHES = 60;
/** Matches wanted in an overlap; more do not make it surer, as neighbours share their errors. */
const WANTED_MATCHES = 2500;
const LEAST_SAMPLES = 3000;
const MOST_SAMPLES = 60_000;

/** Pairs of scans of different frames whose bounding spheres touch, in the order of the scans. */
export function pairsInReach(
  scans: readonly RoundScan[],
  jobFromFrame: ReadonlyMap<string, Pose>,
  margin: number,
): (readonly [RoundScan, RoundScan])[] {
  const placed = scans.filter((scan) => jobFromFrame.has(scan.frame));
  const middles = placed.map((scan) => transformPoint(jobFromFrame.get(scan.frame) as Pose, scan.middle));
  const pairs: (readonly [RoundScan, RoundScan])[] = [];
  for (let i = 0; i < placed.length; i++) {
    for (let j = i + 1; j < placed.length; j++) {
      if (placed[i].frame === placed[j].frame) continue;
      if (distance(middles[i], middles[j]) <= placed[i].reach + placed[j].reach + margin) {
        pairs.push([placed[i], placed[j]]);
      }
    }
  }
  return pairs;
}

/**
 * Measures every overlap at the present poses.
 *
 * @param gate points farther from the other scan have no partner, mm; 0: three times the larger spacing
 * @param memory kept by the caller between rounds, by pair
 */
export async function measureOverlaps(
  pairs: readonly (readonly [RoundScan, RoundScan])[],
  jobFromFrame: ReadonlyMap<string, Pose>,
  gate: number,
  memory: Map<string, PairMemory>,
  runner: TaskRunner,
  context: RunContext,
): Promise<OverlapObservation[]> {
  const inputs = pairs.map(([a, b]): OverlapTask => {
    const bFromA = compose(invert(jobFromFrame.get(b.frame) as Pose), jobFromFrame.get(a.frame) as Pose);
    const sampleCount = memory.get(pairKey(a, b))?.sampleCount ?? LEAST_SAMPLES;
    return { a: a.keyed, b: b.keyed, bFromA, options: { sampleCount, maxDistance: gate } };
  });
  const outputs = (await runner.run('measure-overlap', inputs, context)) as OverlapMeasurement[];
  const observations: OverlapObservation[] = [];
  pairs.forEach(([a, b], index) => {
    const measured = outputs[index];
    const share = smallerShare(a, b, measured);
    const known = memory.get(pairKey(a, b));
    const wanted =
      share > 0 ? Math.min(MOST_SAMPLES, Math.max(LEAST_SAMPLES, Math.ceil(WANTED_MATCHES / share))) : LEAST_SAMPLES;
    // Samples only grow: a count that went up and down with the share would keep the rounds from settling.
    memory.set(pairKey(a, b), { sampleCount: Math.max(known?.sampleCount ?? 0, quantized(wanted)), measured });
    if (measured.form.count < LEAST_MATCHES) return;
    observations.push(observationOf(a, b, inputs[index].bFromA, measured, share));
  });
  return observations;
}

/** Steps of half as much again: small changes of an overlap do not change the samples. */
function quantized(count: number): number {
  let step = LEAST_SAMPLES;
  while (step < count) step = Math.ceil(step * 1.5);
  return Math.min(step, MOST_SAMPLES);
}

export function pairKey(a: RoundScan, b: RoundScan): string {
  return `${a.id}\u0000${b.id}`;
}

/** Share of the scan with fewer points: the same whichever of the two is named first. */
function smallerShare(a: RoundScan, b: RoundScan, measured: OverlapMeasurement): number {
  return a.keyed.scan.border.length <= b.keyed.scan.border.length ? measured.shareOfA : measured.shareOfB;
}

function observationOf(
  a: RoundScan,
  b: RoundScan,
  bFromA: Pose,
  measured: OverlapMeasurement,
  share: number,
): OverlapObservation {
  const { form } = measured;
  return {
    kind: 'overlap',
    tie: `overlap-${a.id}-${b.id}`,
    frameA: a.frame,
    frameB: b.frame,
    scanA: a.id,
    scanB: b.id,
    bFromA0: bFromA,
    reference: form.reference,
    information: Array.from(form.information),
    gradient: Array.from(form.gradient),
    sumSquares: form.squares,
    count: form.weightSum,
    effectiveCount: Math.min(measured.effectiveCount, form.weightSum),
    sigma: Math.hypot(a.keyed.scan.noise, b.keyed.scan.noise),
    largest: measured.percentile95,
    overlapShare: share,
    weakDirections: [...measured.freeDirections, ...measured.weakDirections],
  };
}

/** How far points of a frame moved between two poses, at most, mm. */
export function motionOfSphere(before: Pose, after: Pose, middle: Vec3, reach: number): number {
  const change = compose(after, invert(before));
  const at = transformPoint(before, middle);
  let most = distance(at, transformPoint(change, at));
  for (const arm of [
    [reach, 0, 0],
    [0, reach, 0],
    [0, 0, reach],
  ] as const) {
    const turned = rotate(change.rotation, arm);
    most = Math.max(most, distance(arm, turned) + distance(at, transformPoint(change, at)));
  }
  return most;
}
