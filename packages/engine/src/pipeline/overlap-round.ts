import type { RunContext } from '../base/index.ts';
import { compose, distance, invert, type Pose, rotate, transformPoint, type Vec3 } from '../math/index.ts';
import type { OverlapObservation } from '../model/index.ts';
import type { MeasureOverlapOptions, OverlapMeasurement } from '../register/index.ts';
import type { KeyedScan } from './interned-scan.ts';
import type { TaskRunner } from './task-runner.ts';
import type { OverlapTask } from './tasks.ts';

/** A scan that takes part in the rounds, with its bounding sphere in its frame. */
export interface RoundScan {
  readonly id: string;
  readonly name: string;
  readonly frame: string;
  readonly instrument: string;
  /** Longest distance over which its instrument's errors hang together, mm. */
  readonly errorReach: number;
  /** Constant part of its length errors, mm. */
  readonly volumetric: number;
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
  /** Points of parts that moved between the two. */
  exclude: MeasureOverlapOptions['exclude'];
}

/** Matches without which an overlap says nothing: six unknowns, ten for each. */
export const LEAST_MATCHES = 60;
/** Matches wanted in an overlap; more do not make it surer, as neighbours share their errors. */
const WANTED_MATCHES = 1500;
/** Few steps, because what is worked out for a scan's samples is kept for each number of samples. */
const SAMPLE_STEPS: readonly number[] = [3000, 12_000, 48_000];
/** A pair whose overlap is this much smaller than the best of both its frames adds nothing to them: it gets no more samples. */
const LEAST_OF_BEST = 0.3;

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
    const known = memory.get(pairKey(a, b));
    const sampleCount = known?.sampleCount ?? SAMPLE_STEPS[0];
    return {
      a: a.keyed,
      b: b.keyed,
      bFromA,
      options: { sampleCount, maxDistance: gate, exclude: known?.exclude ?? null },
    };
  });
  const outputs = (await runner.run('measure-overlap', inputs, context)) as OverlapMeasurement[];
  const observations: OverlapObservation[] = [];
  const shares = pairs.map(([a, b], index) => smallerShare(a, b, outputs[index]));
  const best = bestShares(pairs, shares);
  pairs.forEach(([a, b], index) => {
    const measured = outputs[index];
    const share = shares[index];
    const key = pairKey(a, b);
    const isNeeded = share >= LEAST_OF_BEST * Math.min(best.get(a.frame) ?? 0, best.get(b.frame) ?? 0);
    const wanted = isNeeded && share > 0 ? WANTED_MATCHES / share : 0;
    const step = SAMPLE_STEPS.find((count) => count >= wanted) ?? (SAMPLE_STEPS.at(-1) as number);
    // Samples only grow: a count that went up and down with the share would keep the rounds from settling.
    const known = memory.get(key);
    memory.set(key, {
      sampleCount: Math.max(known?.sampleCount ?? 0, step),
      measured,
      exclude: known?.exclude ?? null,
    });
    if (measured.form.count < LEAST_MATCHES) return;
    observations.push(observationOf(a, b, inputs[index].bFromA, measured, share));
  });
  return observations;
}

/** Largest overlap share of each frame. */
function bestShares(
  pairs: readonly (readonly [RoundScan, RoundScan])[],
  shares: readonly number[],
): ReadonlyMap<string, number> {
  const best = new Map<string, number>();
  pairs.forEach(([a, b], index) => {
    for (const frame of [a.frame, b.frame]) best.set(frame, Math.max(best.get(frame) ?? 0, shares[index]));
  });
  return best;
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
    weighed: null,
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
