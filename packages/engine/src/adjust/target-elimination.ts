import {
  add,
  invertSymmetric3,
  type Matrix3,
  multiplyMatrix3Vector,
  type Pose,
  rotate,
  rotateCovariance3,
  scale,
  subtract,
  type Vec3,
} from '../math/index.ts';
import {
  attachUnknowns,
  frameScale,
  type LinearPart,
  type LinearParts,
  type NetworkState,
  type NetworkUnknowns,
  pointMotion,
} from './linear-link.ts';
import type { NetworkModel, NetworkTarget } from './network-model.ts';

/** One sighting at the present poses; its parts say how the residual changes (3 rows). */
export interface LinearSighting extends LinearParts {
  readonly frame: number;
  /** Where this frame puts the target, in the job. */
  readonly place: Vec3;
  /** Its covariance there, and the inverse times the robust weight. */
  readonly covariance: Matrix3;
  readonly weight: Matrix3;
  readonly robustWeight: number;
  /** place minus the adjusted target. */
  readonly residual: Vec3;
}

/** A target with its best place for the present poses. */
export interface LinearTarget {
  readonly target: NetworkTarget;
  readonly position: Vec3;
  /** Inverse of the sum of weights: what the sightings alone would leave uncertain. */
  readonly cofactor: Matrix3;
  readonly sightings: readonly LinearSighting[];
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
  model: NetworkModel,
  state: NetworkState,
  unknowns: NetworkUnknowns,
  robust: RobustWeight,
): LinearTarget {
  const base = target.sightings.map((s) => {
    const pose = state.poses[s.frame] as Pose;
    const covariance = rotateCovariance3(pose.rotation, s.covariance);
    const weight = invertSymmetric3(covariance);
    if (!weight)
      throw new RangeError(
        `The covariance of target ${target.name} in frame ${s.source.frame} is not positive definite.`,
      );
    const own = scale(rotate(pose.rotation, s.position), 1 / (1 + frameScale(model, state, s.frame)));
    return { s, pose, covariance, weight, own, place: add(own, pose.translation) };
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
  const sightings = base.map(({ s, pose, covariance, weight, own, place }, i): LinearSighting => {
    const residual = subtract(place, position);
    const w = robustWeights[i] as number;
    weightedSumSquares += w * quadratic(weight, residual);
    const jacobian = pointMotion(subtract(position, pose.translation), model.radii[s.frame] as number, 1);
    const parts = attachUnknowns(
      { size: 3, frames: [[s.frame, jacobian]], points: [], scales: [[s.frame, Float64Array.from(scale(own, -1))]] },
      model,
      unknowns,
    );
    return {
      frame: s.frame,
      place,
      covariance,
      weight: weight.map((value) => value * w) as unknown as Matrix3,
      robustWeight: w,
      residual,
      ...parts,
    };
  });
  return { target, position, cofactor, sightings, weightedSumSquares };
}

/** A block that a target follows: U = sum of J^T W (width x 3) over its sightings. */
export interface FollowedBlock {
  readonly block: number;
  readonly width: number;
  readonly u: Float64Array;
}

/** Sums J^T W of all sightings of a target by block; of the parts to be estimated, or of those considered. */
export function gatherFollowed(t: LinearTarget, of: 'parts' | 'considered'): FollowedBlock[] {
  const byBlock = new Map<number, FollowedBlock>();
  for (const s of t.sightings) {
    for (const p of s[of]) {
      let own = byBlock.get(p.block);
      if (!own) {
        own = { block: p.block, width: p.width, u: new Float64Array(3 * p.width) };
        byBlock.set(p.block, own);
      }
      addTransposedWeighted(own.u, p, s.weight);
    }
  }
  return [...byBlock.values()];
}

function addTransposedWeighted(u: Float64Array, part: LinearPart, weight: Matrix3): void {
  for (let r = 0; r < part.width; r++) {
    for (let c = 0; c < 3; c++) {
      for (let k = 0; k < 3; k++) u[3 * r + c] += part.jacobian[k * part.width + r] * (weight[3 * k + c] as number);
    }
  }
}

/** u m for u of rows x 3. */
export function timesMatrix3(u: Float64Array, m: Matrix3, rows: number): Float64Array {
  const out = new Float64Array(3 * rows);
  for (let r = 0; r < rows; r++) {
    for (let c = 0; c < 3; c++) {
      for (let k = 0; k < 3; k++) out[3 * r + c] += u[3 * r + k] * (m[3 * k + c] as number);
    }
  }
  return out;
}

function quadratic(m: Matrix3, v: Vec3): number {
  const w = multiplyMatrix3Vector(m, v);
  return v[0] * w[0] + v[1] * w[1] + v[2] * w[2];
}
