import type { Random, RunContext } from '../../base/index.ts';
import { makeRandom } from '../../base/index.ts';
import {
  compose,
  IDENTITY_POSE,
  invert,
  normalizeQuaternion,
  type Pose,
  quaternionOfVector,
  rotate,
  transformPoint,
  type Vec3,
} from '../../math/index.ts';
import type { ProbedPoint, ScanData, Target } from '../../model/index.ts';
import { buildModelScene, type ModelSolid } from '../model-solid.ts';
import { type ProbeFeature, probeFeatures } from '../probe.ts';
import { scanOfPlaces } from '../range-image-mesh.ts';
import type { SimulatedScene } from '../scene.ts';
import { captureSessionSurface, type SessionSurface } from '../session-surface.ts';
import type { Station } from '../station.ts';
import { type MeasuredTarget, measureTargets, type PlacedTarget, placeTargets } from '../targets.ts';
import { visibleTruth } from '../visible-truth.ts';
import { CABIN_DOOR_ANGLE, cabinModel } from './cabin-model.ts';
import { cabinProbeFeatures } from './cabin-probe-features.ts';
import {
  CABIN_INSTRUMENTS,
  insideStations,
  mechanismStations,
  outsideStations,
  type SimulatedInstrument,
  targetStations,
} from './cabin-sessions.ts';

/** Names of the three frames of the demo; the probe shares that of `outside`. */
export type CabinFrame = 'outside' | 'mechanism' | 'inside';

/** `full`: about 3 million triangles in all; `small`: about 150 thousand, for tests and quick looks. */
export interface RopewayCabinOptions {
  readonly size: 'small' | 'full';
  readonly seed: number;
  /** Leave all noise out; for checks. Default false. */
  readonly noiseFree?: boolean;
}

/** One scan of the demo, in its own frame. */
export interface SimulatedScan {
  readonly name: string;
  readonly session: string;
  readonly frame: CabinFrame;
  readonly instrument: SimulatedInstrument;
  readonly scan: ScanData;
}

/** One target list of the demo, in its own frame. `truth[i]`: number of the marker that target i is. */
export interface SimulatedTargetList {
  readonly name: string;
  readonly session: string;
  readonly frame: CabinFrame;
  readonly targets: readonly Target[];
  readonly truth: readonly number[];
}

/** What is true. The job's frame is that of `outside`. */
export interface CabinTruth {
  readonly jobFromFrame: Readonly<Record<CabinFrame, Pose>>;
  readonly jobFromModel: Pose;
  /** The true surface as far as some session saw it, job frame. */
  readonly surface: ScanData;
  /** The end of each scan that is farthest from its ties, job frame, mm. */
  readonly farPoint: Readonly<Record<CabinFrame, Vec3>>;
  /** Pairs of target names that are the same marker: in `targets-outside`, in `targets-mechanism`. */
  readonly commonTargets: readonly (readonly [string, string])[];
  readonly doorAngle: number;
}

/** All that the demo captures. */
export interface SimulatedJob {
  readonly size: 'small' | 'full';
  readonly seed: number;
  readonly scans: readonly SimulatedScan[];
  readonly targetLists: readonly SimulatedTargetList[];
  readonly probed: {
    readonly name: string;
    readonly session: string;
    readonly frame: CabinFrame;
    readonly points: readonly ProbedPoint[];
  };
  readonly truth: CabinTruth;
}

const FINENESS = {
  full: { truthChord: 0.04, truthSpacing: 150, spacing: { outside: 10.5, mechanism: 4.8, inside: 8.8 }, chord: 0.04 },
  small: { truthChord: 0.2, truthSpacing: 300, spacing: { outside: 60, mechanism: 28, inside: 54 }, chord: 0.5 },
} as const;

/** A rotation drawn uniformly and a shift of up to 3 m: frames of instruments are arbitrary. */
function arbitraryPose(random: Random): Pose {
  const rotation = normalizeQuaternion([random.normal(), random.normal(), random.normal(), random.normal()]);
  const shift = (): number => 3000 * (2 * random.uniform() - 1);
  return { rotation, translation: [shift(), shift(), shift()] };
}

/** A frame whose Z is up but for a degree or two: a tracked instrument on a tripod, set up by eye. */
function levelPose(random: Random): Pose {
  const { translation } = arbitraryPose(random);
  const tilt = (): number => 0.02 * (2 * random.uniform() - 1);
  return { rotation: quaternionOfVector([tilt(), tilt(), 0.6 + 0.3 * random.uniform()]), translation };
}

function placesInFrame(places: Float64Array, frameFromModel: Pose): Float64Array {
  const moved = new Float64Array(places.length);
  for (let i = 0; i < places.length; i += 3) {
    moved.set(transformPoint(frameFromModel, [places[i], places[i + 1], places[i + 2]]), i);
  }
  return moved;
}

function targetList(
  session: CabinFrame,
  prefix: string,
  measured: readonly MeasuredTarget[],
  frameFromModel: Pose,
): SimulatedTargetList {
  const sigma = CABIN_INSTRUMENTS[session].targetSigma ?? 0;
  return {
    name: `targets-${session}`,
    session,
    frame: session,
    targets: measured.map((m, i) => ({
      name: `${prefix}${String(i + 1).padStart(3, '0')}`,
      position: transformPoint(frameFromModel, m.position),
      sigma,
    })),
    truth: measured.map((m) => m.target),
  };
}

/** Markers on suspension and roof about every 100 mm, and some far apart on the walls. */
function stickTargets(
  mechanism: SessionSurface,
  outside: SessionSurface,
  solids: readonly ModelSolid[],
  context: RunContext,
): PlacedTarget[] {
  const onTop = (s: SessionSurface) => {
    return (v: number): boolean => {
      const { zone } = solids[s.solids[v]];
      return zone === 'suspension' || (s.truePositions[3 * v + 2] > 1190 && zone !== 'door');
    };
  };
  const onWalls = (v: number): boolean =>
    outside.truePositions[3 * v + 2] < 1000 &&
    solids[outside.solids[v]].name === 'shell' &&
    outside.normals[3 * v + 1] ** 2 > 0.99;
  return [
    ...placeTargets(mechanism, onTop(mechanism), 92, 'cabin/targets', context),
    ...placeTargets(outside, onWalls, 560, 'cabin/wall-targets', context),
  ];
}

async function captureTargets(
  scene: SimulatedScene,
  placed: readonly PlacedTarget[],
  noise: number,
  context: RunContext,
): Promise<Record<'outside' | 'mechanism', MeasuredTarget[]>> {
  const measure = (session: 'outside' | 'mechanism', stations: readonly Station[]): Promise<MeasuredTarget[]> => {
    const sigma = noise * (CABIN_INSTRUMENTS[session].targetSigma ?? 0);
    return measureTargets(
      scene,
      placed,
      { stations, incidenceLimit: 0.87, sigma, foundShare: 0.96 },
      `cabin/targets-${session}`,
      context,
    );
  };
  const wallStations = outsideStations().filter((s) => s.position[2] < 1100);
  return {
    outside: await measure('outside', [...targetStations(), ...wallStations]),
    mechanism: await measure('mechanism', mechanismStations()),
  };
}

/** The cabin's probe features moved to a frame. */
function probeInFrame(features: readonly ProbeFeature[], frameFromModel: Pose): ProbeFeature[] {
  return features.map((f) => ({
    name: f.name,
    contacts: f.contacts.map((c) => ({
      position: transformPoint(frameFromModel, c.position),
      normal: rotate(frameFromModel.rotation, c.normal),
    })),
  }));
}

/**
 * Captures the invented cabin of a mountain ropeway with four instruments, each as its trade works.
 *
 * Frames   each scan in its own arbitrary frame; probed points share the frame of `outside`, which is the job's.
 * Units    mm.
 * Method   METHODS section 10: ray casting against a model of known truth.
 * Cost     full about a minute, small some seconds, on one core.
 * Repeats  bit for bit for the same seed and size.
 *
 * @example
 * const job = await simulateRopewayCabin({ size: 'small', seed: 1 }, makeRunContext());
 * const outside = job.scans[0].scan;
 */
export async function simulateRopewayCabin(options: RopewayCabinOptions, context: RunContext): Promise<SimulatedJob> {
  const { size, seed } = options;
  const fineness = FINENESS[size];
  const seeded: RunContext = withSeed(context, seed);
  context.progress(0, 'building the cabin');
  const solids = cabinModel();
  const { scene, solidOfTriangle } = buildModelScene(solids, {
    spacing: fineness.truthSpacing,
    chord: fineness.truthChord,
    jitter: null,
  });
  try {
    await context.checkpoint(0.08);
    const random = seeded.random('cabin/frames');
    const frameFromModel: Record<CabinFrame, Pose> = {
      outside: levelPose(random),
      mechanism: arbitraryPose(random),
      inside: arbitraryPose(random),
    };
    const jobFromModel = frameFromModel.outside;
    const stations = { outside: outsideStations(), mechanism: mechanismStations(), inside: insideStations() };
    const surfaces: Partial<Record<CabinFrame, SessionSurface>> = {};
    const capture = async (frame: CabinFrame, from: number, to: number): Promise<SessionSurface> => {
      context.progress(from, `capturing ${frame}`);
      const surface = await captureSessionSurface(
        scene,
        solids,
        {
          stations: stations[frame],
          incidenceLimit: frame === 'inside' ? 1.05 : 1.13,
          noise: options.noiseFree ? { white: 0, correlated: [] } : CABIN_INSTRUMENTS[frame].noise,
          referenceRange: 1200,
          borderFactor: 3,
          spacing: fineness.spacing[frame],
          chord: fineness.chord,
          leastPiece: size === 'full' ? 40 : 6,
          colors: frame === 'inside',
        },
        `cabin/${frame}`,
        withSeed(context.part(from, to), seed),
      );
      surfaces[frame] = surface;
      return surface;
    };
    const outside = await capture('outside', 0.1, 0.45);
    const mechanism = await capture('mechanism', 0.45, 0.62);
    const inside = await capture('inside', 0.62, 0.9);
    const placed = stickTargets(mechanism, outside, solids, seeded);
    const measured = await captureTargets(
      scene,
      placed,
      options.noiseFree ? 0 : 1,
      withSeed(context.part(0.9, 0.93), seed),
    );
    const targetLists = [
      targetList('outside', 'A', measured.outside, frameFromModel.outside),
      targetList('mechanism', 'M', measured.mechanism, frameFromModel.mechanism),
    ];
    const probe = { tipRadius: 1.5, sigma: options.noiseFree ? 0 : CABIN_INSTRUMENTS.pins.noise.white };
    const points = probeFeatures(probeInFrame(cabinProbeFeatures(), jobFromModel), probe, 'cabin/pins', seeded);
    const scans = (['outside', 'mechanism', 'inside'] as const).map((frame): SimulatedScan => {
      const surface = { outside, mechanism, inside }[frame];
      const scan = scanOfPlaces(placesInFrame(surface.positions, frameFromModel[frame]), {
        normals: null,
        colors: surface.colors,
        triangles: surface.triangles,
        viewpoint: null,
      });
      return { name: frame, session: frame, frame, instrument: CABIN_INSTRUMENTS[frame], scan };
    });
    await context.checkpoint(0.95, 'collecting the truth');
    const surface = visibleTruth(
      scene,
      solidOfTriangle,
      (['outside', 'mechanism', 'inside'] as const).map((frame) => ({
        places: { outside, mechanism, inside }[frame].truePositions,
        reach: 1.5 * fineness.spacing[frame],
      })),
      jobFromModel,
    );
    const jobFrom = (frame: CabinFrame): Pose =>
      frame === 'outside' ? IDENTITY_POSE : compose(jobFromModel, invert(frameFromModel[frame]));
    context.progress(1, 'captured');
    return {
      size,
      seed,
      scans,
      targetLists,
      probed: { name: 'pins', session: 'pins', frame: 'outside', points },
      truth: {
        jobFromFrame: { outside: IDENTITY_POSE, mechanism: jobFrom('mechanism'), inside: jobFrom('inside') },
        jobFromModel,
        surface,
        farPoint: {
          outside: transformPoint(jobFromModel, [1600, 1000, -1100]),
          mechanism: transformPoint(jobFromModel, [0, 80, 2960]),
          inside: transformPoint(jobFromModel, [1570, 0, 0]),
        },
        commonTargets: commonTargets(targetLists[0], targetLists[1]),
        doorAngle: CABIN_DOOR_ANGLE,
      },
    };
  } finally {
    scene.dispose();
  }
}

function commonTargets(a: SimulatedTargetList, b: SimulatedTargetList): (readonly [string, string])[] {
  const nameInB = new Map(b.truth.map((marker, i) => [marker, b.targets[i].name]));
  return a.truth.flatMap((marker, i) => {
    const name = nameInB.get(marker);
    return name === undefined ? [] : [[a.targets[i].name, name] as const];
  });
}

/** The same context with its random streams of another seed. */
function withSeed(context: RunContext, seed: number): RunContext {
  return {
    ...context,
    seed,
    random: (name) => makeRandom(seed, name),
    part: (from, to) => withSeed(context.part(from, to), seed),
  };
}
