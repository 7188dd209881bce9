// What the tool does with a simulated network: prepare, then rounds of measuring overlaps and adjusting until settled.
// Sees the data alone, never the truth.
import {
  adjustNetwork,
  type JointCovariance,
  makeRunContext,
  type NetworkAdjustment,
  type NetworkFrame,
  type NetworkObservation,
  type OverlapObservation,
  PIPELINE_TASKS,
  type Pose,
  type RunContext,
  type SimulatedNetworkData,
  type TargetObservation,
  type Vec3,
} from '@lapjoint/engine';
import { keyOfScan } from '../../packages/engine/src/pipeline/interned-scan.ts';
import {
  measureOverlaps,
  motionOfSphere,
  type PairMemory,
  pairsInReach,
  type RoundScan,
} from '../../packages/engine/src/pipeline/overlap-round.ts';
import { makeSerialRunner, type TaskRunner } from '../../packages/engine/src/pipeline/task-runner.ts';

/** A network after the last round: frames stand still, the last overlaps wait to be weighed. */
export interface SettledNetwork {
  readonly data: SimulatedNetworkData;
  readonly scans: readonly RoundScan[];
  /** Targets. */
  readonly fixed: readonly NetworkObservation[];
  readonly overlaps: readonly OverlapObservation[];
  readonly memory: ReadonlyMap<string, PairMemory>;
  readonly runner: TaskRunner;
  readonly poses: ReadonlyMap<string, Pose>;
  readonly rounds: number;
  readonly isSettled: boolean;
}

/** Poses and what is stated of them. */
export interface NetworkAnswer {
  readonly frames: readonly { readonly frame: string; readonly jobFromFrame: Pose }[];
  readonly joint: JointCovariance;
}

/** Gives the last overlaps the weights that their covariance follows from. The step that is put to the proof. */
export type WeighStep = (settled: SettledNetwork, context: RunContext) => Promise<NetworkAnswer>;

const LARGEST_ROUND_COUNT = 12;
const SETTLED_SHARE = 0.02;

export async function settleNetwork(data: SimulatedNetworkData, context: RunContext): Promise<SettledNetwork> {
  const runner: TaskRunner = makeSerialRunner(PIPELINE_TASKS);
  const scans: RoundScan[] = [];
  for (const scan of data.scans) {
    const input = { data: scan.data, subject: scan.id, sheetNoise: scan.noise };
    const [prepared] = (await runner.run('prepare-scan', [input], context)) as RoundScan['keyed']['scan'][];
    const { middle, reach } = sphereOf(prepared);
    scans.push({
      id: scan.id,
      name: scan.id,
      frame: scan.frame,
      instrument: scan.instrument,
      errorReach: scan.reach,
      keyed: { key: keyOfScan(prepared), scan: prepared },
      middle,
      reach,
    });
  }
  const fixed = targetObservations(data);
  const poses = new Map(data.startPoses);
  const memory = new Map<string, PairMemory>();
  let overlaps: OverlapObservation[] = [];
  let rounds = 0;
  let isSettled = scans.length === 0;
  while (!isSettled && rounds < LARGEST_ROUND_COUNT) {
    rounds++;
    const spacing = Math.max(0, ...scans.map((scan) => scan.keyed.scan.spacing));
    const noise = Math.min(Infinity, ...scans.map((scan) => scan.keyed.scan.noise));
    const pairs = pairsInReach(scans, poses, 3 * spacing);
    overlaps = await measureOverlaps(pairs, poses, 0, memory, runner, context);
    const adjustment = await adjust({ data, scans, poses, fixed }, [...fixed, ...overlaps]);
    let moved = 0;
    for (const { frame, jobFromFrame } of adjustment.frames) {
      if (jobFromFrame === null) throw new Error(`${frame} was refused.`);
      const before = poses.get(frame) as Pose;
      for (const scan of scans) {
        if (scan.frame === frame)
          moved = Math.max(moved, motionOfSphere(before, jobFromFrame, scan.middle, scan.reach));
      }
      poses.set(frame, jobFromFrame);
    }
    isSettled = moved <= SETTLED_SHARE * noise;
  }
  return { data, scans, fixed, overlaps, memory, runner, poses, rounds, isSettled };
}

/** One adjustment from the settled poses. */
export function adjust(
  network: Pick<SettledNetwork, 'data' | 'scans' | 'poses' | 'fixed'>,
  observations: readonly NetworkObservation[],
): Promise<NetworkAdjustment> {
  return adjustNetwork(
    observations,
    {
      frames: framesOf(network),
      start: network.poses,
      datum: { kind: 'fixed-frame', frame: network.data.frames[0] },
    },
    makeRunContext(),
  );
}

/** The answer of an adjustment; where it has no joint covariance, put together from its blocks, with no scale terms. */
export function answerOf(adjustment: NetworkAdjustment): NetworkAnswer {
  const frames = adjustment.frames.map(({ frame, jobFromFrame, message }) => {
    if (jobFromFrame === null) throw new Error(`${frame} was refused: ${message}`);
    return { frame, jobFromFrame };
  });
  if (adjustment.jointCovariance !== null) return { frames, joint: adjustment.jointCovariance };
  const n = 6 * frames.length;
  const matrix = new Float64Array(n * n);
  frames.forEach((a, i) => {
    frames.forEach((b, j) => {
      const block = i === j ? adjustment.frames[i].covariance : adjustment.crossCovariance(a.frame, b.frame);
      if (!block) return;
      for (let r = 0; r < 6; r++) for (let c = 0; c < 6; c++) matrix[(6 * i + r) * n + 6 * j + c] = block[6 * r + c];
    });
  });
  const references = adjustment.frames.map(({ frame, covarianceReference }) => ({
    frame,
    reference: covarianceReference as Vec3,
  }));
  return { frames, joint: { frames: references, terms: [], matrix } };
}

function targetObservations(data: SimulatedNetworkData): TargetObservation[] {
  const seen = new Map<string, number>();
  for (const list of data.targetLists) for (const { name } of list.targets) seen.set(name, (seen.get(name) ?? 0) + 1);
  return data.targetLists.flatMap((list) =>
    list.targets
      .filter(({ name }) => (seen.get(name) as number) > 1)
      .map(({ name, position, sigma }): TargetObservation => {
        const v = sigma * sigma;
        const covariance = [v, 0, 0, 0, v, 0, 0, 0, v];
        return { kind: 'target', tie: list.id, frame: list.frame, target: name, position, covariance };
      }),
  );
}

function sphereOf(scan: RoundScan['keyed']['scan']): { readonly middle: Vec3; readonly reach: number } {
  const low = [Infinity, Infinity, Infinity];
  const high = [-Infinity, -Infinity, -Infinity];
  for (let i = 0; i < scan.positions.length; i++) {
    low[i % 3] = Math.min(low[i % 3], scan.positions[i]);
    high[i % 3] = Math.max(high[i % 3], scan.positions[i]);
  }
  const middle = scan.origin.map((o, k) => o + (low[k] + high[k]) / 2) as unknown as Vec3;
  return { middle, reach: Math.hypot(...high.map((h, k) => h - low[k])) / 2 };
}

/** Frames with centre and rms radius of their scan, or of their targets. */
export function framesOf({ data, scans, fixed }: Pick<SettledNetwork, 'data' | 'scans' | 'fixed'>): NetworkFrame[] {
  return data.frames.map((frame): NetworkFrame => {
    const own = scans.find((scan) => scan.frame === frame)?.keyed.scan;
    if (own !== undefined)
      return { frame, centre: own.origin.map((o, k) => o + own.centroid[k]) as unknown as Vec3, radius: own.radius };
    const places = fixed.flatMap((o) => (o.kind === 'target' && o.frame === frame ? [o.position] : []));
    const centre = [0, 1, 2].map((k) => places.reduce((sum, p) => sum + p[k], 0) / places.length) as unknown as Vec3;
    const squares = places.reduce((sum, p) => sum + p.reduce((part, x, k) => part + (x - centre[k]) ** 2, 0), 0);
    return { frame, centre, radius: Math.sqrt(squares / places.length) };
  });
}
