import { type Matrix3, type Pose, subtract, transformPoint, type Vec3 } from '../math/index.ts';
import type {
  AdjustableObservation,
  DifferenceObservation,
  DistanceObservation,
  FrameFeature,
  KnownPointObservation,
  OverlapObservation,
  PairObservation,
  PriorObservation,
  ProbeObservation,
  RelationObservation,
  ScaleTerm,
  TargetObservation,
} from '../model/index.ts';
import { centreFrames, type ObservedPlace, observedPlaces } from './centre-frames.ts';
import { checkObservation, checkScaleTerm } from './check-observation.ts';
import type { NetworkFrame } from './network-frame.ts';

/** One observation of a target, centred. */
export interface TargetSighting {
  readonly frame: number;
  /** Relative to the frame's centre. */
  readonly position: Vec3;
  readonly covariance: Matrix3;
  readonly source: TargetObservation;
}

/** A target that at least one frame saw, and that nothing but frames touches: eliminated from the normal equations. */
export interface NetworkTarget {
  readonly name: string;
  readonly sightings: readonly TargetSighting[];
}

/** A named point that is an unknown of its own, because distances, differences or known coordinates touch it. */
export interface NetworkPoint {
  readonly name: string;
  /** Where it stays, relative to the job offset; null: adjusted. */
  readonly fixed: Vec3 | null;
}

/** A feature relative to the centre of its frame. */
export interface CentredFeature extends Omit<FrameFeature, 'frame'> {
  readonly frame: number;
}

/** What links frames, points and the job directly. Frames and points by index; coordinates centred. */
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
    }
  | {
      readonly kind: 'target';
      readonly point: number;
      readonly sighting: TargetSighting;
      readonly source: TargetObservation;
    }
  | { readonly kind: 'distance'; readonly from: number; readonly to: number; readonly source: DistanceObservation }
  | { readonly kind: 'difference'; readonly from: number; readonly to: number; readonly source: DifferenceObservation }
  | {
      readonly kind: 'known-point';
      readonly point: number;
      readonly position: Vec3;
      readonly source: KnownPointObservation;
    }
  | {
      readonly kind: 'probe';
      readonly a: number;
      readonly b: number;
      readonly pointA: Vec3;
      readonly surfacePoint: Vec3;
      readonly source: ProbeObservation;
    }
  | { readonly kind: 'relation'; readonly features: readonly CentredFeature[]; readonly source: RelationObservation };

/** A scale term over the frames of the model. */
export interface NetworkTerm {
  readonly name: string;
  readonly sigma: number;
  readonly isEstimated: boolean;
  /** One a frame. */
  readonly coefficients: Float64Array;
}

/**
 * The network with every frame's coordinates relative to its own centre, so that no number is larger than the object.
 */
export interface NetworkModel {
  /** In the order stated by the caller, then by first appearance. */
  readonly frames: readonly string[];
  readonly centres: readonly Vec3[];
  readonly radii: readonly number[];
  readonly targets: readonly NetworkTarget[];
  readonly points: readonly NetworkPoint[];
  readonly links: readonly NetworkLink[];
  readonly terms: readonly NetworkTerm[];
  /** Point of the job that the centred job coordinates are relative to. */
  readonly jobOffset: Vec3;
  /** Of each frame, then of each point: the first one it is tied to, directly or through others (points count on after the frames). */
  readonly components: Int32Array;
}

const ORIGIN: Vec3 = [0, 0, 0];

/** Frames that a link touches. */
export function linkFrames(link: NetworkLink): readonly number[] {
  switch (link.kind) {
    case 'pair':
    case 'overlap':
    case 'probe':
      return [link.a, link.b];
    case 'prior':
      return [link.a];
    case 'target':
      return [link.sighting.frame];
    case 'relation':
      return [...new Set(link.features.map((f) => f.frame))];
    default:
      return [];
  }
}

/** Points that a link touches. */
export function linkPoints(link: NetworkLink): readonly number[] {
  switch (link.kind) {
    case 'target':
    case 'known-point':
      return [link.point];
    case 'distance':
    case 'difference':
      return [link.from, link.to];
    default:
      return [];
  }
}

/** What else the model is made of, besides observations. */
export interface NetworkModelInput {
  readonly frames: readonly NetworkFrame[];
  readonly startPoints: ReadonlyMap<string, Vec3>;
  readonly scaleTerms: readonly ScaleTerm[];
}

/**
 * Sorts observations into targets and links, and centres them.
 *
 * @throws RangeError when a number is not finite or a covariance, sigma or count is not larger than zero
 */
export function makeNetworkModel(
  observations: readonly AdjustableObservation[],
  input: NetworkModelInput,
  jobFromDatum: Pose,
  datumFrame: string | null,
): NetworkModel {
  observations.forEach(checkObservation);
  input.scaleTerms.forEach(checkScaleTerm);
  const frameIndex = new Map<string, number>();
  const pointIndex = new Map<string, number>();
  const enter = (index: Map<string, number>, name: string): void => {
    if (!index.has(name)) index.set(name, index.size);
  };
  for (const f of input.frames) enter(frameIndex, f.frame);
  const places: ObservedPlace[] = [];
  for (const o of observations) {
    const own = observedPlaces(o);
    for (const p of own) enter(frameIndex, p.frame);
    places.push(...own);
    if (o.kind === 'prior') enter(frameIndex, o.frame);
    else if (o.kind === 'distance' || o.kind === 'difference') {
      enter(pointIndex, o.pointA);
      enter(pointIndex, o.pointB);
    } else if (o.kind === 'known-point') enter(pointIndex, o.point);
  }
  const frames = [...frameIndex.keys()];
  const { centres, radii } = centreFrames(frames, input.frames, places);
  const jobOffset =
    datumFrame === null
      ? findOffset(observations, input.startPoints)
      : transformPoint(jobFromDatum, centres[frameIndex.get(datumFrame) as number] as Vec3);

  const targets = new Map<string, TargetSighting[]>();
  const links: NetworkLink[] = [];
  const fixed = new Map<string, Vec3>();
  const frameOf = (name: string): number => frameIndex.get(name) as number;
  const pointOf = (name: string): number => pointIndex.get(name) as number;
  const centred = (frame: string, p: Vec3): Vec3 => subtract(p, centres[frameOf(frame)] as Vec3);
  for (const o of observations) {
    if (o.kind === 'target') {
      const sighting: TargetSighting = {
        frame: frameOf(o.frame),
        position: centred(o.frame, o.position),
        covariance: [...o.covariance] as unknown as Matrix3,
        source: o,
      };
      if (pointIndex.has(o.target)) links.push({ kind: 'target', point: pointOf(o.target), sighting, source: o });
      else if (targets.has(o.target)) targets.get(o.target)?.push(sighting);
      else targets.set(o.target, [sighting]);
    } else if (o.kind === 'pair') {
      const [a, b] = [frameOf(o.frameA), frameOf(o.frameB)];
      links.push({ kind: 'pair', a, b, pointA: centred(o.frameA, o.a), pointB: centred(o.frameB, o.b), source: o });
    } else if (o.kind === 'overlap') {
      const [a, b] = [frameOf(o.frameA), frameOf(o.frameB)];
      const bFromA0 = localRelativePose(o.bFromA0, centres[a] as Vec3, centres[b] as Vec3);
      links.push({ kind: 'overlap', a, b, bFromA0, reference: centred(o.frameB, o.reference), source: o });
    } else if (o.kind === 'prior') {
      const a = frameOf(o.frame);
      const jobFromFrame0 = localRelativePose(o.jobFromFrame0, centres[a] as Vec3, jobOffset);
      links.push({ kind: 'prior', a, jobFromFrame0, reference: subtract(o.reference, jobOffset), source: o });
    } else if (o.kind === 'distance') {
      links.push({ kind: 'distance', from: pointOf(o.pointA), to: pointOf(o.pointB), source: o });
    } else if (o.kind === 'difference') {
      links.push({ kind: 'difference', from: pointOf(o.pointA), to: pointOf(o.pointB), source: o });
    } else if (o.kind === 'known-point') {
      const position = subtract(o.position, jobOffset);
      if (o.information === 'fixed') fixed.set(o.point, position);
      else links.push({ kind: 'known-point', point: pointOf(o.point), position, source: o });
    } else if (o.kind === 'probe') {
      const [a, b] = [frameOf(o.frameA), frameOf(o.frameB)];
      const [pointA, surfacePoint] = [centred(o.frameA, o.point), centred(o.frameB, o.surfacePoint)];
      links.push({ kind: 'probe', a, b, pointA, surfacePoint, source: o });
    } else {
      const features = [o.a, o.b, ...(o.relation === 'symmetric' && o.plane ? [o.plane] : [])].map((f) => ({
        ...f,
        frame: frameOf(f.frame),
        point: centred(f.frame, f.point),
      }));
      links.push({ kind: 'relation', features, source: o });
    }
  }
  const model = {
    frames,
    centres,
    radii,
    targets: [...targets].map(([name, sightings]) => ({ name, sightings })),
    points: [...pointIndex.keys()].map((name) => ({ name, fixed: fixed.get(name) ?? null })),
    links,
    terms: input.scaleTerms.map((t) => ({
      name: t.name,
      sigma: t.sigma,
      isEstimated: t.isEstimated,
      coefficients: Float64Array.from(frames, (f) => t.coefficients.get(f) ?? 0),
    })),
    jobOffset,
  };
  return { ...model, components: findComponents(model) };
}

/** Without a datum frame: near the first thing that is known in the job, so that numbers stay small. */
function findOffset(observations: readonly AdjustableObservation[], startPoints: ReadonlyMap<string, Vec3>): Vec3 {
  for (const o of observations) {
    if (o.kind === 'prior') return o.reference;
    if (o.kind === 'known-point' && (o.information === 'fixed' || isFull(o.information))) return o.position;
  }
  for (const p of startPoints.values()) return p;
  return ORIGIN;
}

/** Nothing on the diagonal is zero: the coordinates mean something. */
const isFull = (information: readonly number[]): boolean => [0, 4, 8].every((k) => (information[k] as number) > 0);

/** `bFromA` between the centred frames. */
export function localRelativePose(bFromA: Pose, centreA: Vec3, centreB: Vec3): Pose {
  return { rotation: bFromA.rotation, translation: subtract(transformPoint(bFromA, centreA), centreB) };
}

/** Number of the connected part each frame and point belongs to: that of its first member. Fixed points do not connect. */
function findComponents(model: Omit<NetworkModel, 'components'>): Int32Array {
  const frameCount = model.frames.length;
  const part = Int32Array.from({ length: frameCount + model.points.length }, (_, i) => i);
  const root = (i: number): number => {
    let r = i;
    while (part[r] !== r) r = part[r] as number;
    return r;
  };
  const join = (members: readonly number[]): void => {
    const first = members[0];
    if (first === undefined) return;
    for (const m of members) {
      const [a, b] = [root(first), root(m)];
      part[Math.max(a, b)] = Math.min(a, b);
    }
  };
  for (const t of model.targets) join(t.sightings.map((s) => s.frame));
  for (const link of model.links) {
    const points = linkPoints(link).filter((p) => model.points[p]?.fixed === null);
    join([...linkFrames(link), ...points.map((p) => frameCount + p)]);
  }
  return part.map((_, i) => root(i));
}
