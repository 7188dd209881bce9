// What the tool does with a simulated network: prepare the scans, then settle all frames as `align` does. Sees the data
// alone, never the truth. The search for first poses is left out: frames start a few noise levels off.
import {
  ALIGN_DEFAULTS,
  type AlignInput,
  adjustNetwork,
  type JointCovariance,
  makeRunContext,
  makeSerialRunner,
  type NetworkAdjustment,
  type NetworkFrame,
  type NetworkObservation,
  type OverlapObservation,
  PIPELINE_TASKS,
  type Pose,
  type RunContext,
  type SimulatedNetworkData,
  type TargetObservation,
  type TaskRunner,
  type Vec3,
} from '@lapjoint/engine';
import { keyOfScan } from '../../packages/engine/src/pipeline/interned-scan.ts';
import {
  measureOverlaps,
  type PairMemory,
  pairsInReach,
  type RoundScan,
} from '../../packages/engine/src/pipeline/overlap-round.ts';
import { settleFrames } from '../../packages/engine/src/pipeline/settle-frames.ts';
import { weighRound } from '../../packages/engine/src/pipeline/weigh-round.ts';
import { probeObservations } from './probe-observations.ts';

/** A network after the last round, with the tool's own answer. */
export interface SettledNetwork {
  readonly data: SimulatedNetworkData;
  readonly scans: readonly RoundScan[];
  /** Targets. */
  readonly fixed: readonly NetworkObservation[];
  readonly poses: ReadonlyMap<string, Pose>;
  readonly adjustment: NetworkAdjustment;
  readonly rounds: number;
  readonly isSettled: boolean;
  readonly runner: TaskRunner;
}

/** Poses and what is stated of them. */
export interface NetworkAnswer {
  readonly frames: readonly { readonly frame: string; readonly jobFromFrame: Pose }[];
  readonly joint: JointCovariance;
}

/** A way of stating uncertainties that is put to the proof. */
export type WeighStep = (settled: SettledNetwork, context: RunContext) => Promise<NetworkAnswer>;

export async function settleNetwork(data: SimulatedNetworkData, context: RunContext): Promise<SettledNetwork> {
  const runner = makeSerialRunner(PIPELINE_TASKS);
  const scans: RoundScan[] = [];
  for (const scan of data.scans) {
    const input = { data: scan.data, subject: scan.id, sheetNoise: scan.noise };
    const [prepared] = (await runner.run('prepare-scan', [input], context)) as RoundScan['keyed']['scan'][];
    scans.push({
      id: scan.id,
      name: scan.id,
      frame: scan.frame,
      instrument: scan.instrument,
      errorReach: scan.reach,
      volumetric: 0,
      keyed: { key: keyOfScan(prepared), scan: prepared },
      ...sphereOf(prepared),
    });
  }
  const fixed = targetObservations(data);
  const poses = new Map(data.startPoses);
  const input: AlignInput = {
    frames: data.frames,
    scans: data.scans.map(({ id, frame, instrument, noise, reach, data: points }) => ({
      id,
      name: id,
      frame,
      data: points,
      noise,
      instrument: { name: instrument, reach, volumetric: 0 },
    })),
    targetLists: [],
    ties: [],
    scaleTerms: data.scaleTerms,
  };
  const known = { links: [], observations: fixed };
  const settled = await settleFrames(input, scans, known, poses, 0, ALIGN_DEFAULTS, runner, context);
  const network = { data, scans, fixed, poses, runner, ...settled };
  return data.probed.length === 0 ? network : { ...network, adjustment: await withProbe(network, context) };
}

/** The last adjustment once more with the probed places. */
async function withProbe(network: SettledNetwork, context: RunContext): Promise<NetworkAdjustment> {
  const { data, scans, fixed, runner } = network;
  let { poses } = network;
  for (let round = 0; ; round++) {
    const { overlaps, memory } = await overlapsAt(network, poses, context);
    const weighed = await weighRound(overlaps, scans, memory, 'learned', null, runner, context);
    const adjustment = await adjustNetwork(
      [...fixed, ...weighed.overlaps, ...probeObservations(data, scans, poses)],
      {
        frames: framesOf(network),
        start: poses,
        datum: { kind: 'fixed-frame', frame: data.frames[0] },
        correlations: weighed.correlations,
        scaleTerms: data.scaleTerms,
      },
      makeRunContext(),
    );
    if (round === 1) return adjustment;
    poses = posesOf(answerOf(adjustment));
  }
}

export function posesOf(answer: NetworkAnswer): Map<string, Pose> {
  return new Map(answer.frames.map(({ frame, jobFromFrame }) => [frame, jobFromFrame]));
}

/** Overlaps at given poses, with what is remembered of them. */
export async function overlapsAt(
  { scans, runner }: Pick<SettledNetwork, 'scans' | 'runner'>,
  poses: ReadonlyMap<string, Pose>,
  context: RunContext,
): Promise<{ readonly overlaps: readonly OverlapObservation[]; readonly memory: ReadonlyMap<string, PairMemory> }> {
  const spacing = Math.max(0, ...scans.map((scan) => scan.keyed.scan.spacing));
  const memory = new Map<string, PairMemory>();
  const overlaps = await measureOverlaps(pairsInReach(scans, poses, 3 * spacing), poses, 0, memory, runner, context);
  return { overlaps, memory };
}

/** One adjustment, without what is known of scale, and without enlarging what is stated when ties contradict each other. */
export function adjust(
  settled: SettledNetwork,
  poses: ReadonlyMap<string, Pose>,
  overlaps: readonly OverlapObservation[],
): Promise<NetworkAdjustment> {
  return adjustNetwork(
    [...settled.fixed, ...overlaps, ...probeObservations(settled.data, settled.scans, poses)],
    {
      frames: framesOf(settled),
      start: poses,
      datum: { kind: 'fixed-frame', frame: settled.data.frames[0] },
      enlarge: 'never',
    },
    makeRunContext(),
  );
}

/** The answer of an adjustment. */
export function answerOf(adjustment: NetworkAdjustment): NetworkAnswer {
  const frames = adjustment.frames.map(({ frame, jobFromFrame, message }) => {
    if (jobFromFrame === null) throw new Error(`${frame} was refused: ${message}`);
    return { frame, jobFromFrame };
  });
  if (adjustment.jointCovariance === null) throw new Error('The adjustment states no joint covariance.');
  return { frames, joint: adjustment.jointCovariance };
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
