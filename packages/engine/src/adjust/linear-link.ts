import type { Matrix3, Pose, Vec3 } from '../math/index.ts';
import { blockOffsets } from './block-matrix.ts';
import type { NetworkModel } from './network-model.ts';

/** What is to be found: poses of the centred frames, places of the points relative to the job offset, values of the terms. */
export interface NetworkState {
  readonly poses: readonly Pose[];
  readonly points: readonly Vec3[];
  /** One for each term of the model; zero for those that are not estimated. */
  readonly terms: readonly number[];
}

/** Which blocks of the normal equations belong to whom: frames 6 numbers, points 3, estimated terms 1. */
export interface NetworkUnknowns {
  readonly usedFrames: readonly boolean[];
  readonly usedPoints: readonly boolean[];
  /** -1 for what is fixed, left out or not estimated. */
  readonly blockOfFrame: Int32Array;
  readonly blockOfPoint: Int32Array;
  readonly blockOfTerm: Int32Array;
  readonly sizes: readonly number[];
  readonly offsets: Int32Array;
}

/** Numbers the unknowns of everything that takes part, except the fixed frame (-1: none). */
export function numberUnknowns(
  model: NetworkModel,
  usedFrames: readonly boolean[],
  usedPoints: readonly boolean[],
  fixedFrame: number,
): NetworkUnknowns {
  const sizes: number[] = [];
  const number = (count: number, size: number, isUnknown: (i: number) => boolean): Int32Array =>
    Int32Array.from({ length: count }, (_, i) => (isUnknown(i) ? sizes.push(size) - 1 : -1));
  const blockOfFrame = number(model.frames.length, 6, (i) => usedFrames[i] === true && i !== fixedFrame);
  const blockOfPoint = number(model.points.length, 3, (i) => usedPoints[i] === true && model.points[i]?.fixed === null);
  const blockOfTerm = number(model.terms.length, 1, (i) => model.terms[i]?.isEstimated === true);
  return { usedFrames, usedPoints, blockOfFrame, blockOfPoint, blockOfTerm, sizes, offsets: blockOffsets(sizes) };
}

/** How a misclosure changes with one block of unknowns: size x width, row-major. */
export interface LinearPart {
  readonly block: number;
  readonly width: number;
  readonly jacobian: Float64Array;
}

/** How something depends on frames (tx ty tz and rotations as lengths at the radius), points and the scales of frames. */
export interface Dependence {
  readonly size: number;
  readonly frames: readonly (readonly [number, Float64Array])[];
  readonly points: readonly (readonly [number, Float64Array])[];
  /** Change with the relative length error of a frame. */
  readonly scales: readonly (readonly [number, Float64Array])[];
}

/** Parts by block of the unknowns, and by term for those that are considered, not estimated. */
export interface LinearParts {
  readonly parts: readonly LinearPart[];
  /** `block` is the index of the term. */
  readonly considered: readonly LinearPart[];
}

/** A link at the present state: misclosure e of `size` numbers with weight matrix W. Its cost is e^T W e + 2 g^T e. */
export interface LinearLink extends LinearParts {
  readonly size: number;
  readonly misclosure: Float64Array;
  /** size x size. */
  readonly weight: Float64Array;
  /** Half the slope of the cost in the terms of the Jacobians: W e + g, turned to small motions at the present pose. */
  readonly slope: Float64Array;
  /** Its share of vPv: cost above the least value it can take. */
  readonly weightedSumSquares: number;
  /** Independent numbers observed. */
  readonly rank: number;
  /** How many of the numbers, the last ones, are angles in their own right (relations). */
  readonly angleCount: number;
  /** How the misclosure changes with each frame: also with the one that is fixed. */
  readonly frames: readonly (readonly [number, Float64Array])[];
}

/** A link before its unknowns are numbered. */
export interface PlainLink extends Dependence, Omit<LinearLink, keyof LinearParts | keyof Dependence> {}

/** Distributes a dependence over the blocks of the unknowns. */
export function attachUnknowns(d: Dependence, model: NetworkModel, unknowns: NetworkUnknowns): LinearParts {
  const parts: LinearPart[] = [];
  const considered: LinearPart[] = [];
  for (const [frame, jacobian] of d.frames) {
    const block = unknowns.blockOfFrame[frame];
    if (block >= 0) parts.push({ block, width: 6, jacobian });
  }
  for (const [point, jacobian] of d.points) {
    const block = unknowns.blockOfPoint[point];
    if (block >= 0) parts.push({ block, width: 3, jacobian });
  }
  model.terms.forEach((term, t) => {
    const jacobian = new Float64Array(d.size);
    let isTouched = false;
    for (const [frame, column] of d.scales) {
      const coefficient = term.coefficients[frame];
      if (coefficient === 0) continue;
      isTouched = true;
      for (let i = 0; i < d.size; i++) jacobian[i] += coefficient * column[i];
    }
    if (!isTouched) return;
    const block = unknowns.blockOfTerm[t];
    if (block >= 0) parts.push({ block, width: 1, jacobian });
    else considered.push({ block: t, width: 1, jacobian });
  });
  return { parts, considered };
}

/** Relative length error of a frame at the present values of the terms. */
export function frameScale(model: NetworkModel, state: NetworkState, frame: number): number {
  let sum = 0;
  model.terms.forEach((term, t) => {
    sum += term.coefficients[frame] * (state.terms[t] as number);
  });
  return sum;
}

export const IDENTITY_MATRIX3: Matrix3 = [1, 0, 0, 0, 1, 0, 0, 0, 1];

/** How a point at `arm` from the centre of its frame moves with the frame: 3 x 6, times a sign. */
export function pointMotion(arm: Vec3, radius: number, sign: number): Float64Array {
  const [x, y, z] = [(sign * arm[0]) / radius, (sign * arm[1]) / radius, (sign * arm[2]) / radius];
  return Float64Array.from([sign, 0, 0, 0, z, -y, 0, sign, 0, -z, 0, x, 0, 0, sign, y, -x, 0]);
}

/** Row r^T of a point's motion: how r . p changes with the frame, six numbers. */
export function rowMotion(row: Vec3, arm: Vec3, radius: number, sign: number): Float64Array {
  const s = sign / radius;
  return Float64Array.from([
    sign * row[0],
    sign * row[1],
    sign * row[2],
    s * (arm[1] * row[2] - arm[2] * row[1]),
    s * (arm[2] * row[0] - arm[0] * row[2]),
    s * (arm[0] * row[1] - arm[1] * row[0]),
  ]);
}
