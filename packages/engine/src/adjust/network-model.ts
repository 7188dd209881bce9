import { invert, type Matrix3, type Pose, subtract, transformPoint, type Vec3 } from '../math/index.ts';
import type {
  NetworkObservation,
  OverlapObservation,
  PairObservation,
  PriorObservation,
  TargetObservation,
} from '../model/index.ts';

/** A frame to be adjusted, with the point at which its pose and covariance are stated. */
export interface NetworkFrame {
  readonly frame: string;
  /** Best the centre of its scans, mm, in the frame; null: the centre of its observations. */
  readonly centre: Vec3 | null;
  /** rms distance of its points from there, mm; null: that of its observations. */
  readonly radius: number | null;
}

/** One observation of a target, centred. */
export interface TargetSighting {
  readonly frame: number;
  /** Relative to the frame's centre. */
  readonly position: Vec3;
  readonly covariance: Matrix3;
  readonly source: TargetObservation;
}

/** A target that at least one frame saw. */
export interface NetworkTarget {
  readonly name: string;
  readonly sightings: readonly TargetSighting[];
}

/** Pair, overlap or prior: what links two frames (or one frame and the job) directly. Centred. */
export type NetworkLink =
  | {
      readonly kind: 'pair';
      readonly a: number;
      readonly b: number;
      readonly pointA: Vec3;
      readonly pointB: Vec3;
      readonly source: PairObservation;
    }
  | {
      readonly kind: 'overlap';
      readonly a: number;
      readonly b: number;
      readonly bFromA0: Pose;
      readonly reference: Vec3;
      readonly source: OverlapObservation;
    }
  | {
      readonly kind: 'prior';
      readonly a: number;
      readonly jobFromFrame0: Pose;
      readonly reference: Vec3;
      readonly source: PriorObservation;
    };

/**
 * The network with every frame's coordinates relative to its own centre, so that no number is larger than the object.
 */
export interface NetworkModel {
  /** In the order stated by the caller, then by first appearance. */
  readonly frames: readonly string[];
  readonly centres: readonly Vec3[];
  readonly radii: readonly number[];
  readonly targets: readonly NetworkTarget[];
  readonly links: readonly NetworkLink[];
  /** Point of the job that the centred job coordinates are relative to. */
  readonly jobOffset: Vec3;
  /** Of each frame: the first frame it is tied to, directly or through others. */
  readonly components: Int32Array;
}

const ORIGIN: Vec3 = [0, 0, 0];

/**
 * Sorts observations into targets and links, and centres them.
 *
 * @throws RangeError when a number is not finite or a covariance, sigma or count is not larger than zero
 */
export function makeNetworkModel(
  observations: readonly NetworkObservation[],
  stated: readonly NetworkFrame[],
  jobFromDatum: Pose,
  datumFrame: string | null,
): NetworkModel {
  observations.forEach(checkObservation);
  const index = new Map<string, number>();
  const frames: string[] = [];
  const enter = (frame: string): number => {
    let i = index.get(frame);
    if (i === undefined) {
      i = frames.length;
      frames.push(frame);
      index.set(frame, i);
    }
    return i;
  };
  for (const f of stated) enter(f.frame);
  const points: { frame: number; at: Vec3; arm: number }[] = [];
  for (const o of observations) {
    if (o.kind === 'target') points.push({ frame: enter(o.frame), at: o.position, arm: 0 });
    else if (o.kind === 'pair') {
      points.push({ frame: enter(o.frameA), at: o.a, arm: 0 }, { frame: enter(o.frameB), at: o.b, arm: 0 });
    } else if (o.kind === 'overlap') {
      const arm = overlapArm(o);
      points.push(
        { frame: enter(o.frameA), at: transformPoint(invert(o.bFromA0), o.reference), arm },
        { frame: enter(o.frameB), at: o.reference, arm },
      );
    } else enter(o.frame);
  }
  const { centres, radii } = centreFrames(frames, stated, points);

  const datum = datumFrame === null ? -1 : frames.indexOf(datumFrame);
  const firstPrior = observations.find((o) => o.kind === 'prior');
  const jobOffset =
    datum >= 0 ? transformPoint(jobFromDatum, centres[datum] as Vec3) : (firstPrior?.reference ?? ORIGIN);

  const byName = new Map<string, TargetSighting[]>();
  const links: NetworkLink[] = [];
  for (const o of observations) {
    if (o.kind === 'target') {
      const frame = index.get(o.frame) as number;
      const list = byName.get(o.target) ?? [];
      list.push({
        frame,
        position: subtract(o.position, centres[frame] as Vec3),
        covariance: [...o.covariance] as unknown as Matrix3,
        source: o,
      });
      byName.set(o.target, list);
    } else if (o.kind === 'pair') {
      const [a, b] = [index.get(o.frameA) as number, index.get(o.frameB) as number];
      if (a === b) throw new RangeError(`A pair of tie ${o.tie} links frame ${o.frameA} with itself.`);
      links.push({
        kind: 'pair',
        a,
        b,
        pointA: subtract(o.a, centres[a] as Vec3),
        pointB: subtract(o.b, centres[b] as Vec3),
        source: o,
      });
    } else if (o.kind === 'overlap') {
      const [a, b] = [index.get(o.frameA) as number, index.get(o.frameB) as number];
      if (a === b) throw new RangeError(`The overlap ${o.tie} links frame ${o.frameA} with itself.`);
      links.push({
        kind: 'overlap',
        a,
        b,
        bFromA0: localRelativePose(o.bFromA0, centres[a] as Vec3, centres[b] as Vec3),
        reference: subtract(o.reference, centres[b] as Vec3),
        source: o,
      });
    } else {
      const a = index.get(o.frame) as number;
      links.push({
        kind: 'prior',
        a,
        jobFromFrame0: localRelativePose(o.jobFromFrame0, centres[a] as Vec3, jobOffset),
        reference: subtract(o.reference, jobOffset),
        source: o,
      });
    }
  }
  const targets = [...byName].map(([name, sightings]) => ({ name, sightings }));
  return {
    frames,
    centres,
    radii,
    targets,
    links,
    jobOffset,
    components: findComponents(frames.length, targets, links),
  };
}

/** `bFromA` between the centred frames. */
export function localRelativePose(bFromA: Pose, centreA: Vec3, centreB: Vec3): Pose {
  return { rotation: bFromA.rotation, translation: subtract(transformPoint(bFromA, centreA), centreB) };
}

/** rms arm of an overlap about its reference: what its rotations weigh against its shifts. */
export function overlapArm(o: OverlapObservation): number {
  const h = o.information;
  const at = (i: number): number => h[7 * i] as number;
  const shift = at(0) + at(1) + at(2);
  return shift > 0 ? Math.sqrt(Math.max(0, at(3) + at(4) + at(5)) / shift) : 0;
}

function centreFrames(
  frames: readonly string[],
  stated: readonly NetworkFrame[],
  points: readonly { frame: number; at: Vec3; arm: number }[],
): { centres: Vec3[]; radii: number[] } {
  const centres: Vec3[] = [];
  const radii: number[] = [];
  frames.forEach((name, i) => {
    const known = stated.find((f) => f.frame === name);
    const own = points.filter((p) => p.frame === i);
    const first = own[0]?.at ?? ORIGIN;
    const mean = [0, 1, 2].map(
      (k) =>
        (first[k] as number) +
        own.reduce((sum, p) => sum + ((p.at[k] as number) - (first[k] as number)), 0) / Math.max(1, own.length),
    ) as unknown as Vec3;
    const centre = known?.centre ?? mean;
    const square = own.reduce((sum, p) => {
      const d = subtract(p.at, centre);
      return sum + d[0] * d[0] + d[1] * d[1] + d[2] * d[2] + p.arm * p.arm;
    }, 0);
    centres.push(centre);
    radii.push(known?.radius ?? Math.sqrt(square / Math.max(1, own.length)));
  });
  // A frame with one observation has no size of its own: take the largest of the others.
  const largest = radii.reduce((a, b) => Math.max(a, b), 0);
  return { centres, radii: radii.map((r) => (r > 0 ? r : largest > 0 ? largest : 1)) };
}

/** Number of the connected part each frame belongs to: that of its first frame. */
function findComponents(count: number, targets: readonly NetworkTarget[], links: readonly NetworkLink[]): Int32Array {
  const part = Int32Array.from({ length: count }, (_, i) => i);
  const root = (i: number): number => {
    let r = i;
    while (part[r] !== r) r = part[r] as number;
    return r;
  };
  const join = (i: number, j: number): void => {
    const [a, b] = [root(i), root(j)];
    part[Math.max(a, b)] = Math.min(a, b);
  };
  for (const t of targets) for (const s of t.sightings) join(s.frame, (t.sightings[0] as TargetSighting).frame);
  for (const link of links) if (link.kind !== 'prior') join(link.a, link.b);
  return part.map((_, i) => root(i));
}

function checkObservation(o: NetworkObservation): void {
  const fail = (what: string): never => {
    throw new RangeError(`Observation of tie ${o.tie}: ${what}`);
  };
  const finite = (values: readonly number[]): boolean => values.every(Number.isFinite);
  if (o.kind === 'target') {
    if (!finite(o.position)) fail('a coordinate is no number.');
    if (o.covariance.length !== 9 || !finite(o.covariance)) fail('a covariance is nine numbers.');
    if (![0, 4, 8].every((k) => (o.covariance[k] as number) > 0)) fail('a variance has to be larger than zero.');
  } else if (o.kind === 'pair') {
    if (!finite(o.a) || !finite(o.b)) fail('a coordinate is no number.');
    if (!(o.sigma > 0 && Number.isFinite(o.sigma))) fail('sigma has to be larger than zero.');
  } else if (o.kind === 'overlap') {
    if (o.information.length !== 36 || o.gradient.length !== 6) fail('information is 36 numbers, the gradient six.');
    if (
      !finite(o.information) ||
      !finite(o.gradient) ||
      !finite([...o.bFromA0.rotation, ...o.bFromA0.translation, ...o.reference])
    ) {
      fail('a number is not finite.');
    }
    if (!(o.count > 0 && o.effectiveCount > 0 && o.sigma > 0 && o.sumSquares >= 0))
      fail('counts and sigma have to be larger than zero.');
  } else {
    if (o.information.length !== 36 || !finite(o.information)) fail('information is 36 numbers.');
    if (!finite([...o.jobFromFrame0.rotation, ...o.jobFromFrame0.translation, ...o.reference]))
      fail('a number is not finite.');
  }
}
