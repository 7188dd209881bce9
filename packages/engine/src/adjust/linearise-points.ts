import {
  add,
  dot,
  invertSymmetric3,
  type Matrix3,
  multiplyMatrix3Vector,
  type Pose,
  rotate,
  rotateCovariance3,
  scale,
  subtract,
  symmetricEigen,
  type Vec3,
} from '../math/index.ts';
import { frameScale, type NetworkState, type PlainLink, pointMotion, rowMotion } from './linear-link.ts';
import type { NetworkLink, NetworkModel } from './network-model.ts';

type LinkOf<K extends NetworkLink['kind']> = NetworkLink & { readonly kind: K };

const IDENTITY3 = (sign: number): Float64Array => Float64Array.from([sign, 0, 0, 0, sign, 0, 0, 0, sign]);

/** A point of a frame in the job, and its arm there from the frame's centre; lengths corrected for the frame's scale. */
function carry(model: NetworkModel, state: NetworkState, frame: number, p: Vec3): { place: Vec3; arm: Vec3 } {
  const pose = state.poses[frame] as Pose;
  const arm = scale(rotate(pose.rotation, p), 1 / (1 + frameScale(model, state, frame)));
  return { place: add(arm, pose.translation), arm };
}

function linkOfVector(
  e: Vec3,
  weight: Matrix3 | Float64Array,
  rank: number,
  dependence: Pick<PlainLink, 'frames' | 'points' | 'scales'>,
): PlainLink {
  const w = Float64Array.from(weight);
  const slope = Float64Array.from(multiplyMatrix3Vector(weight as unknown as Matrix3, e));
  return {
    size: 3,
    misclosure: Float64Array.from(e),
    weight: w,
    slope,
    weightedSumSquares: Math.max(0, e[0] * slope[0] + e[1] * slope[1] + e[2] * slope[2]),
    rank,
    angleCount: 0,
    ...dependence,
  };
}

function linkOfNumber(
  e: number,
  sigma: number,
  dependence: Pick<PlainLink, 'frames' | 'points' | 'scales'>,
): PlainLink {
  const w = 1 / (sigma * sigma);
  return {
    size: 1,
    misclosure: Float64Array.of(e),
    weight: Float64Array.of(w),
    slope: Float64Array.of(w * e),
    weightedSumSquares: w * e * e,
    rank: 1,
    angleCount: 0,
    ...dependence,
  };
}

/** Picked pair: moved a minus moved b. */
export function linearisePair(link: LinkOf<'pair'>, model: NetworkModel, state: NetworkState): PlainLink {
  const a = carry(model, state, link.a, link.pointA);
  const b = carry(model, state, link.b, link.pointB);
  const w = 1 / (link.source.sigma * link.source.sigma);
  return linkOfVector(subtract(a.place, b.place), [w, 0, 0, 0, w, 0, 0, 0, w], 3, {
    frames: [
      [link.a, pointMotion(a.arm, model.radii[link.a] as number, 1)],
      [link.b, pointMotion(b.arm, model.radii[link.b] as number, -1)],
    ],
    points: [],
    scales: [
      [link.a, Float64Array.from(scale(a.arm, -1))],
      [link.b, Float64Array.from(b.arm)],
    ],
  });
}

/** Target whose point is an unknown of its own: where the frame puts it, minus the point. Measured in the frame's axes. */
export function lineariseSighting(link: LinkOf<'target'>, model: NetworkModel, state: NetworkState): PlainLink {
  const { frame, position, covariance, source } = link.sighting;
  const pose = state.poses[frame] as Pose;
  const { place, arm } = carry(model, state, frame, position);
  const point = state.points[link.point] as Vec3;
  const weight = invertSymmetric3(rotateCovariance3(pose.rotation, covariance));
  if (!weight)
    throw new RangeError(
      `The covariance of target ${source.target} in frame ${source.frame} is not positive definite.`,
    );
  return linkOfVector(subtract(place, point), weight, 3, {
    frames: [[frame, pointMotion(subtract(point, pose.translation), model.radii[frame] as number, 1)]],
    points: [[link.point, IDENTITY3(-1)]],
    scales: [[frame, Float64Array.from(scale(arm, -1))]],
  });
}

/** Distance: adjusted minus observed. */
export function lineariseDistance(link: LinkOf<'distance'>, state: NetworkState): PlainLink {
  const d = subtract(state.points[link.to] as Vec3, state.points[link.from] as Vec3);
  const length = Math.hypot(...d);
  // Points on one another have no direction between them: the axis of the job keeps the sum finite until they part.
  const u = length > 0 ? scale(d, 1 / length) : ([1, 0, 0] as Vec3);
  return linkOfNumber(length - link.source.distance, link.source.sigma, {
    frames: [],
    points: [
      [link.from, Float64Array.from(scale(u, -1))],
      [link.to, Float64Array.from(u)],
    ],
    scales: [],
  });
}

/** How many numbers a 3 x 3 information holds. */
function rank3(information: readonly number[]): number {
  const { values } = symmetricEigen(information, 3);
  return values.filter((v) => v > 1e-12 * values[2]).length;
}

/** Vector between points: adjusted minus observed. */
export function lineariseDifference(link: LinkOf<'difference'>, state: NetworkState): PlainLink {
  const d = subtract(state.points[link.to] as Vec3, state.points[link.from] as Vec3);
  const { vector, information } = link.source;
  return linkOfVector(subtract(d, vector), information as unknown as Matrix3, rank3(information), {
    frames: [],
    points: [
      [link.from, IDENTITY3(-1)],
      [link.to, IDENTITY3(1)],
    ],
    scales: [],
  });
}

/** Known coordinates: adjusted minus known. */
export function lineariseKnownPoint(link: LinkOf<'known-point'>, state: NetworkState): PlainLink {
  const information = link.source.information as readonly number[];
  const e = subtract(state.points[link.point] as Vec3, link.position);
  return linkOfVector(e, information as unknown as Matrix3, rank3(information), {
    frames: [],
    points: [[link.point, IDENTITY3(1)]],
    scales: [],
  });
}

/** Probed point against a surface element: height above it, along its normal. */
export function lineariseProbe(link: LinkOf<'probe'>, model: NetworkModel, state: NetworkState): PlainLink {
  const a = carry(model, state, link.a, link.pointA);
  const b = carry(model, state, link.b, link.surfacePoint);
  const poseB = state.poses[link.b] as Pose;
  const n = rotate(poseB.rotation, link.source.normal);
  return linkOfNumber(dot(n, subtract(a.place, b.place)), link.source.sigma, {
    frames: [
      [link.a, rowMotion(n, a.arm, model.radii[link.a] as number, 1)],
      // The normal turns with its frame, so the lever arm ends at the probed point.
      [link.b, rowMotion(n, subtract(a.place, poseB.translation), model.radii[link.b] as number, -1)],
    ],
    points: [],
    scales: [
      [link.a, Float64Array.of(-dot(n, a.arm))],
      [link.b, Float64Array.of(dot(n, b.arm))],
    ],
  });
}
