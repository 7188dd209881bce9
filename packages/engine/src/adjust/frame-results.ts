import { IDENTITY_POSE, type Pose, rotate, symmetricEigen, type Vec3 } from '../math/index.ts';
import type { FramePose } from '../model/index.ts';
import { describeFreeMotion } from './free-directions.ts';
import type { NetworkModel } from './network-model.ts';
import type { SolvedNetwork } from './solve-network.ts';
import type { StatedCovariance } from './stated-covariance.ts';

/** What is needed to say how a frame came out. */
export interface FrameResultInput {
  readonly solved: SolvedNetwork;
  readonly stated: StatedCovariance;
  /** Index of the frame that stays, with its pose as the caller gave it; -1: none. */
  readonly fixed: number;
  readonly fixedPose: Pose | undefined;
  /** A frame is refused when some motion is uncertain by more than this share of its radius (k = 1). */
  readonly largestUncertaintyShare: number;
  readonly enlargement: number;
}

/** Pose and covariance of a frame, or why it has none. */
export function frameResult(model: NetworkModel, i: number, input: FrameResultInput): FramePose {
  const { solved, stated, enlargement } = input;
  const frame = model.frames[i] as string;
  if (!solved.unknowns.usedFrames[i]) {
    return refuse(
      frame,
      `Nothing ties \`${frame}\` to the rest.`,
      'Add an overlap, common targets or three picked pairs with a frame that is placed.',
    );
  }
  const radius = model.radii[i] as number;
  const block = solved.unknowns.blockOfFrame[i];
  const covariance = block < 0 ? new Float64Array(36) : stated.block(block, block);
  if (block >= 0) {
    const free = freeMotions(solved, block, covariance, input.largestUncertaintyShare * radius);
    if (free.basis.length > 0) {
      const words = describeFreeMotion(free.basis);
      const known = free.isExact ? '' : ` better than ${Number(free.uncertainty.toPrecision(2))} mm`;
      return refuse(
        frame,
        `Nothing holds \`${frame}\` ${words.join(', ')}${known}.`,
        'Add an overlap, a target or a picked pair that holds this motion; best far from the present ties.',
      );
    }
  }
  const local = solved.linear.state.poses[i] as Pose;
  const offset = model.jobOffset;
  const reference: Vec3 = [
    local.translation[0] + offset[0],
    local.translation[1] + offset[1],
    local.translation[2] + offset[2],
  ];
  const isFixed = i === input.fixed;
  return {
    frame,
    jobFromFrame: isFixed ? (input.fixedPose ?? IDENTITY_POSE) : globalPose(local, reference, model.centres[i] as Vec3),
    covariance: Array.from(unscaleFrames(covariance, radius, radius, enlargement)),
    covarianceReference: reference,
    status: isFixed ? 'fixed' : 'adjusted',
    message: isFixed ? 'Its frame is that of the job.' : solved.converged ? '' : 'The adjustment did not settle.',
    remedy: solved.converged ? '' : 'Check the ties with the largest residuals; start from better poses.',
    rivals: [],
  };
}

function refuse(frame: string, message: string, remedy: string): FramePose {
  return {
    frame,
    jobFromFrame: null,
    covariance: null,
    covarianceReference: null,
    status: 'refused',
    message,
    remedy,
    rivals: [],
  };
}

/** Covariance of two frames in mm and rad from one with rotations as lengths. */
export function unscaleFrames(c: Float64Array, radiusA: number, radiusB: number, factor: number): Float64Array {
  return c.map((value, e) => {
    const row = Math.floor(e / 6) < 3 ? 1 : radiusA;
    const column = e % 6 < 3 ? 1 : radiusB;
    return (value * factor) / (row * column);
  });
}

function globalPose(local: Pose, reference: Vec3, centre: Vec3): Pose {
  const r = rotate(local.rotation, centre);
  return { rotation: local.rotation, translation: [reference[0] - r[0], reference[1] - r[1], reference[2] - r[2]] };
}

/** Directions of one block that nothing holds, from the factor. */
export function blockFreeMotions(solved: SolvedNetwork, block: number): Float64Array[] {
  const { offsets } = solved.unknowns;
  const basis: Float64Array[] = [];
  for (const { motion } of solved.factor.freeDirections) {
    const own = motion.slice(offsets[block], offsets[block + 1]);
    let largest = 0;
    for (const value of motion) largest = Math.max(largest, Math.abs(value));
    // A hundredth of the motion: what stays is rounding, or frames that hardly move with it.
    if (Math.max(...own.map(Math.abs)) > 0.01 * largest) basis.push(own);
  }
  return basis;
}

/** Directions that nothing holds (from the factor) or that are known too loosely (from the covariance). */
function freeMotions(
  solved: SolvedNetwork,
  block: number,
  covariance: Float64Array,
  limit: number,
): { basis: Float64Array[]; isExact: boolean; uncertainty: number } {
  const basis = blockFreeMotions(solved, block);
  const isExact = basis.length > 0;
  let uncertainty = 0;
  const { values, vectors } = symmetricEigen(covariance, 6);
  for (let e = 0; e < 6; e++) {
    if (!(values[e] > limit * limit)) continue;
    uncertainty = Math.max(uncertainty, Math.sqrt(values[e]));
    basis.push(Float64Array.from({ length: 6 }, (_, k) => vectors[6 * k + e]));
  }
  return { basis, isExact, uncertainty };
}
