import type { Random, RunContext } from '../../base/index.ts';
import {
  compose,
  invert,
  type Pose,
  perturb,
  quaternionOfVector,
  rotate,
  transformPoint,
  type Vec3,
} from '../../math/index.ts';
import type { ScaleTerm, ScanData, Target } from '../../model/index.ts';
import { samplePlaces } from './analytic-sheet.ts';
import { makeMovingAverageField } from './moving-average-field.ts';
import type { NetworkPlan } from './network-plan.ts';

/** Stated: expansion of aluminium, its standard uncertainty, and that of a thermometer. */
const EXPANSION = 23e-6;
const EXPANSION_SIGMA = 1.5e-6;
const TEMPERATURE_SIGMA = 1;

/** How a plan is turned into data. */
export interface SimulateNetworkOptions {
  /** Correlation length of the correlated half of the noise, mm. */
  readonly correlationLength: number;
  /** Shift of the start poses, in standard deviations of the noise, and their turn at the size of the object. */
  readonly startError: number;
}

/** What a tool gets to see of a simulated network: nothing of it is true. */
export interface SimulatedNetworkData {
  /** In order; the first holds the job's frame. */
  readonly frames: readonly string[];
  readonly scans: readonly {
    readonly id: string;
    readonly frame: string;
    readonly instrument: string;
    /** From the sheet: noise, and the longest distance over which errors hang together (half of what it sees at once), mm. */
    readonly noise: number;
    readonly reach: number;
    readonly data: ScanData;
  }[];
  readonly targetLists: readonly { readonly id: string; readonly frame: string; readonly targets: readonly Target[] }[];
  /** Probed places, corrected for the tip, and the frame whose scan they lie on. */
  readonly probed: readonly {
    readonly id: string;
    readonly frame: string;
    readonly surfaceFrame: string;
    readonly sigma: number;
    readonly points: readonly Vec3[];
  }[];
  /** Instrument scales, temperatures and expansion with their stated uncertainties. */
  readonly scaleTerms: readonly ScaleTerm[];
  readonly startPoses: ReadonlyMap<string, Pose>;
}

/** What is true of one frame of a simulated network. Job coordinates: those of the first frame, at 20 degrees Celsius, mm. */
export interface SimulatedFrameTruth {
  /** A place of the frame at y is truly at centre + (jobFromFrame y - centre) / (1 + stretch). */
  readonly jobFromFrame: Pose;
  readonly centre: Vec3;
  readonly stretch: number;
  /** True places, xyz. */
  readonly checkPoints: Float64Array;
}

export interface SimulatedNetwork {
  readonly family: string;
  readonly data: SimulatedNetworkData;
  readonly truth: ReadonlyMap<string, SimulatedFrameTruth>;
  readonly correlationLength: number;
}

function randomPose(random: Random, reach: number): Pose {
  return {
    rotation: quaternionOfVector([2 * random.normal(), 2 * random.normal(), 2 * random.normal()]),
    translation: [reach * random.normal(), reach * random.normal(), reach * random.normal()],
  };
}

function middleOf(places: Float64Array): Vec3 {
  const sum = [0, 0, 0];
  for (let i = 0; i < places.length; i++) sum[i % 3] += places[i];
  const count = places.length / 3;
  return [sum[0] / count, sum[1] / count, sum[2] / count];
}

/**
 * Draws the data of a planned network: every session in its own frame, with white and correlated noise along the normals,
 * its instrument's scale error, and what errors of temperature and expansion coefficient leave after the correction to 20 degrees.
 *
 * Repeats  bit for bit for equal seed, plan and name.
 */
export function simulateNetwork(
  plan: NetworkPlan,
  options: SimulateNetworkOptions,
  name: string,
  context: RunContext,
): SimulatedNetwork {
  const draw = context.random(`${name}/frames`);
  const scaleTerms: ScaleTerm[] = [];
  const stretches = new Map<string, number>(plan.sessions.map(({ frame }) => [frame, 0]));
  const addTerm = (term: string, sigma: number, coefficients: ReadonlyMap<string, number>): void => {
    scaleTerms.push({ name: term, sigma, coefficients, isEstimated: false });
    const value = sigma * draw.normal();
    for (const [frame, coefficient] of coefficients)
      stretches.set(frame, (stretches.get(frame) as number) + coefficient * value);
  };
  for (const instrument of new Set(plan.sessions.map((session) => session.instrument))) {
    const own = plan.sessions.filter((session) => session.instrument === instrument);
    addTerm(`scale of ${instrument}`, own[0].scaleSigma, new Map(own.map(({ frame }) => [frame, 1])));
  }
  addTerm(
    'expansion coefficient',
    EXPANSION_SIGMA,
    new Map(plan.sessions.map(({ frame, temperature }) => [frame, temperature - 20])),
  );
  for (const { frame } of plan.sessions)
    addTerm(`temperature of ${frame}`, TEMPERATURE_SIGMA, new Map([[frame, EXPANSION]]));

  const jobFromObject = randomPose(draw, 800);
  const scans: SimulatedNetworkData['scans'][number][] = [];
  const targetLists: SimulatedNetworkData['targetLists'][number][] = [];
  const probed: SimulatedNetworkData['probed'][number][] = [];
  const startPoses = new Map<string, Pose>();
  const truth = new Map<string, SimulatedFrameTruth>();
  plan.sessions.forEach((session, index) => {
    const { frame } = session;
    const random = context.random(`${name}/${frame}`);
    const jobFromFrame =
      index === 0 ? { rotation: [1, 0, 0, 0] as const, translation: [0, 0, 0] as const } : randomPose(draw, 800);
    const frameFromObject = compose(invert(jobFromFrame), jobFromObject);
    const stretch = stretches.get(frame) as number;
    const seen = samplePlaces(session.regions, random);
    const targetPlaces = Float64Array.from(session.targets.flatMap((t) => plan.targets[t]));
    const objectCentre = middleOf(seen.places.length > 0 ? seen.places : targetPlaces);
    const measured = (x: number, y: number, z: number): Vec3 =>
      transformPoint(frameFromObject, [
        objectCentre[0] + (1 + stretch) * (x - objectCentre[0]),
        objectCentre[1] + (1 + stretch) * (y - objectCentre[1]),
        objectCentre[2] + (1 + stretch) * (z - objectCentre[2]),
      ]);
    if (seen.places.length > 0) {
      const count = seen.places.length / 3;
      const part = session.noise * Math.SQRT1_2;
      const deviations = new Float64Array(count);
      for (let i = 0; i < count; i++) deviations[i] = part * random.normal();
      makeMovingAverageField(part, options.correlationLength, random).addTo(seen.places, deviations);
      const origin = transformPoint(frameFromObject, objectCentre);
      const positions = new Float32Array(3 * count);
      const normals = new Float32Array(3 * count);
      for (let i = 0; i < count; i++) {
        const [nx, ny, nz] = seen.normals.subarray(3 * i, 3 * i + 3);
        const d = deviations[i];
        const p = measured(
          seen.places[3 * i] + d * nx,
          seen.places[3 * i + 1] + d * ny,
          seen.places[3 * i + 2] + d * nz,
        );
        const n = rotate(frameFromObject.rotation, [nx, ny, nz]);
        for (let axis = 0; axis < 3; axis++) {
          positions[3 * i + axis] = p[axis] - origin[axis];
          normals[3 * i + axis] = n[axis];
        }
      }
      scans.push({
        id: `scan-${frame}`,
        frame,
        instrument: session.instrument,
        noise: session.noise,
        reach: session.reach,
        data: { origin, positions, normals, colors: null, triangles: null, viewpoint: null },
      });
    }
    if (session.targets.length > 0) {
      const targets = session.targets.map((t): Target => {
        const [x, y, z] = measured(...plan.targets[t]);
        const sigma = session.targetSigma;
        const position: Vec3 = [x + sigma * random.normal(), y + sigma * random.normal(), z + sigma * random.normal()];
        return { name: `${t + 1}`, position, sigma };
      });
      targetLists.push({ id: `targets-${frame}`, frame, targets });
    }
    if (plan.probe !== null && plan.probe.frame === frame) {
      const { surfaceFrame, sigma, places } = plan.probe;
      const points = places.map((place): Vec3 => {
        const [x, y, z] = measured(...place);
        return [x + sigma * random.normal(), y + sigma * random.normal(), z + sigma * random.normal()];
      });
      probed.push({ id: `probe-${frame}`, frame, surfaceFrame, sigma, points });
    }
    const centre = transformPoint(jobFromObject, objectCentre);
    const checkPoints = new Float64Array(session.checkPoints.length);
    for (let i = 0; i < checkPoints.length; i += 3) {
      const [x, y, z] = session.checkPoints.subarray(i, i + 3);
      checkPoints.set(transformPoint(jobFromObject, [x, y, z]), i);
    }
    truth.set(frame, { jobFromFrame, centre, stretch, checkPoints });
    const push = options.startError * (session.noise || session.targetSigma);
    const motion = [0, 1, 2, 3, 4, 5].map((k) => (k < 3 ? push : push / 1000) * random.normal());
    startPoses.set(frame, index === 0 ? jobFromFrame : perturb(jobFromFrame, motion, centre));
  });
  return {
    family: plan.family,
    data: { frames: plan.sessions.map(({ frame }) => frame), scans, targetLists, probed, scaleTerms, startPoses },
    truth,
    correlationLength: options.correlationLength,
  };
}
