import {
  add,
  invertSymmetric3,
  type Matrix3,
  multiplyMatrix3Vector,
  type Pose,
  rotate,
  rotateCovariance3,
  subtract,
  type Vec3,
} from '../math/index.ts';
import type { NetworkTarget } from './network-model.ts';

/** One sighting at the present poses. */
export interface LinearSighting {
  readonly frame: number;
  /** Where this frame puts the target, in the job. */
  readonly place: Vec3;
  /** Its covariance there, and the inverse times the robust weight. */
  readonly covariance: Matrix3;
  readonly weight: Matrix3;
  readonly robustWeight: number;
  /** place minus the adjusted target. */
  readonly residual: Vec3;
  /** 3 x 6: change of the residual with the frame's motion (rotations as lengths at the radius). */
  readonly jacobian: Float64Array;
}

/** A target with its best place for the present poses. */
export interface LinearTarget {
  readonly target: NetworkTarget;
  readonly position: Vec3;
  /** Inverse of the sum of weights: what the sightings alone would leave uncertain. */
  readonly cofactor: Matrix3;
  readonly sightings: readonly LinearSighting[];
  /** With robust weights. */
  readonly cost: number;
  readonly weightedSumSquares: number;
}

/** Weighs a standardised distance: one for least squares. */
export type RobustWeight = (standardised: number) => number;

/**
 * Best place of a target for given poses, and its sightings linearised there.
 *
 * The residual is measured in the sighting frame, as the instrument measured it: covariances turn with the frame, and the
 * lever arm ends at the adjusted target.
 */
export function lineariseTarget(
  target: NetworkTarget,
  poses: readonly Pose[],
  radii: readonly number[],
  robust: RobustWeight,
): LinearTarget {
  const base = target.sightings.map((s) => {
    const pose = poses[s.frame] as Pose;
    const covariance = rotateCovariance3(pose.rotation, s.covariance);
    const weight = invertSymmetric3(covariance);
    if (!weight)
      throw new RangeError(
        `The covariance of target ${target.name} in frame ${s.source.frame} is not positive definite.`,
      );
    return { s, pose, covariance, weight, place: add(rotate(pose.rotation, s.position), pose.translation) };
  });
  const robustWeights = base.map(() => 1);
  let position: Vec3 = base[0]?.place ?? [0, 0, 0];
  let cofactor: Matrix3 = [0, 0, 0, 0, 0, 0, 0, 0, 0];
  // With robust weights the best place depends on them: a few rounds settle it well enough between two steps of the poses.
  for (let round = 0; round < 5; round++) {
    const sum = new Float64Array(9);
    const right = new Float64Array(3);
    base.forEach(({ weight, place }, i) => {
      const w = robustWeights[i] as number;
      const d = multiplyMatrix3Vector(weight, subtract(place, position));
      for (let k = 0; k < 9; k++) sum[k] += w * (weight[k] as number);
      for (let k = 0; k < 3; k++) right[k] += w * (d[k] as number);
    });
    const inverse = invertSymmetric3(Array.from(sum) as unknown as Matrix3);
    if (!inverse) throw new RangeError(`The covariances of target ${target.name} are not positive definite.`);
    cofactor = inverse;
    position = add(position, multiplyMatrix3Vector(cofactor, [right[0], right[1], right[2]]));
    let changed = false;
    base.forEach(({ weight, place }, i) => {
      const next = robust(Math.sqrt(quadratic(weight, subtract(place, position))));
      if (next !== robustWeights[i]) changed = true;
      robustWeights[i] = next;
    });
    if (!changed) break;
  }
  let weightedSumSquares = 0;
  const sightings = base.map(({ s, pose, covariance, weight, place }, i): LinearSighting => {
    const residual = subtract(place, position);
    const w = robustWeights[i] as number;
    weightedSumSquares += w * quadratic(weight, residual);
    const arm = subtract(position, pose.translation);
    const radius = radii[s.frame] as number;
    const jacobian = Float64Array.from([
      1,
      0,
      0,
      0,
      arm[2] / radius,
      -arm[1] / radius,
      0,
      1,
      0,
      -arm[2] / radius,
      0,
      arm[0] / radius,
      0,
      0,
      1,
      arm[1] / radius,
      -arm[0] / radius,
      0,
    ]);
    return {
      frame: s.frame,
      place,
      covariance,
      weight: weight.map((value) => value * w) as unknown as Matrix3,
      robustWeight: w,
      residual,
      jacobian,
    };
  });
  return { target, position, cofactor, sightings, cost: weightedSumSquares, weightedSumSquares };
}

function quadratic(m: Matrix3, v: Vec3): number {
  const w = multiplyMatrix3Vector(m, v);
  return v[0] * w[0] + v[1] * w[1] + v[2] * w[2];
}
