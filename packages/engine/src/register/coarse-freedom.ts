import { perturb, symmetricEigen, type Vec3 } from '../math/index.ts';
import { type Motion, motionOfPose, poseOfMotion } from './coarse-motion.ts';
import type { SettledMotion, SettleOptions } from './coarse-settle.ts';
import { nameDirections } from './weak-directions.ts';

/** A motion along which the evidence hardly changes. */
export interface FreeMotion {
  /** In words, in the target's frame. */
  readonly name: string;
  /** Best score after moving along it. */
  readonly score: number;
}

/** What the slide test needs of the evidence it tries. */
export interface SlideTrial {
  /** Sample spacing, mm. */
  readonly spacing: number;
  /** Origin of the target's float32 frame in its true frame, mm. */
  readonly targetOrigin: Vec3;
  /** Score of the pose itself and how much it must fall for the pose to count as held. */
  readonly score: number;
  readonly margin: number;
  /** Settles a moved pose with one direction held, and scores it. */
  readonly settle: (begin: Motion, held: NonNullable<SettleOptions['held']>) => number;
}

/** Samples are moved by so many spacings: farther than any settling error, less than most shapes repeat themselves. */
const STEP = 4;

/** The k-th least held motion of a settled pose, and the poses that lie some spacings along it to either side. */
export function moveAlong(
  settled: SettledMotion,
  k: number,
  spacing: number,
): { direction: number[]; moved: readonly Motion[] } {
  const { motion, information, center, reach } = settled;
  const { vectors } = symmetricEigen(information, 6);
  const direction = [0, 1, 2, 3, 4, 5].map((row) => vectors[6 * row + k]);
  // Root mean square way of the overlap's points: a rotation moves them by sqrt(2/3) of its angle times reach.
  const way = Math.hypot(direction[0], direction[1], direction[2]) ** 2;
  const turn = (2 / 3) * Math.hypot(direction[3], direction[4], direction[5]) ** 2;
  const size = (STEP * spacing) / Math.sqrt(way + turn);
  const moved = [1, -1].map((sign) => {
    const step = direction.map((value, i) => (sign * size * value) / (i < 3 ? 1 : reach));
    return motionOfPose(perturb(poseOfMotion(motion), step, center));
  });
  return { direction, moved };
}

/**
 * Tries whether a pose slides: moves along the motions that the overlap holds least and lets the rest settle.
 *
 * Method   eigenvectors of the point-to-plane information [Gelfand03]; instead of trusting their eigenvalues, which noise in the
 *          normals makes too large, each is tried: if the score stays within the margin the pose is not held along it.
 */
export function findFreeMotions(settled: SettledMotion, trial: SlideTrial): FreeMotion[] {
  const { matched, center, reach } = settled;
  if (matched < 6 || !(reach > 0)) return [];
  const basis: number[][] = [];
  let highest = -Infinity;
  for (let k = 0; k < 5; k++) {
    const { direction, moved } = moveAlong(settled, k, trial.spacing);
    const scores = moved.map((motion) => trial.settle(motion, { direction, center, reach }));
    const score = Math.max(...scores);
    if (score < trial.score - trial.margin) break;
    basis.push(direction);
    highest = Math.max(highest, score);
  }
  if (basis.length === 0) return [];
  const reference: Vec3 = [
    center[0] + trial.targetOrigin[0],
    center[1] + trial.targetOrigin[1],
    center[2] + trial.targetOrigin[2],
  ];
  return nameDirections(basis, reference, reach).map((name) => ({ name, score: highest }));
}
