import { perturb, symmetricEigen, type Vec3 } from '../math/index.ts';
import { type Motion, motionOfPose, poseOfMotion } from './coarse-motion.ts';
import type { SettledMotion, SettleOptions } from './coarse-settle.ts';
import { nameDirections } from './weak-directions.ts';

/** Motions along which the evidence hardly changes. */
export interface FreeMotions {
  /** Unit six-vectors, shifts and rotations times `reach`, about `center`, in the target's float32 frame. Empty when all is held. */
  readonly directions: readonly (readonly number[])[];
  readonly center: readonly [number, number, number];
  readonly reach: number;
  /** Best score after moving along one of them. */
  readonly score: number;
}

/** Nothing is free. */
export const ALL_HELD: FreeMotions = { directions: [], center: [0, 0, 0], reach: 1, score: 0 };

/**
 * Says in words what is free.
 *
 * @param frameFromTarget from the target's float32 frame to the one the words speak of
 * @param origin of that frame, mm
 */
export function nameFreeMotions(
  free: FreeMotions,
  frameFromTarget: Motion | null,
  origin: ArrayLike<number>,
): string[] {
  const m = frameFromTarget ?? Float64Array.of(1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0);
  const turn = (v: readonly number[]): number[] =>
    [0, 1, 2].map((r) => m[4 * r] * v[0] + m[4 * r + 1] * v[1] + m[4 * r + 2] * v[2]);
  const center = turn(free.center);
  const reference: Vec3 = [
    center[0] + m[3] + (origin[0] as number),
    center[1] + m[7] + (origin[1] as number),
    center[2] + m[11] + (origin[2] as number),
  ];
  const basis = free.directions.map((d) => [...turn(d.slice(0, 3)), ...turn(d.slice(3, 6))]);
  return nameDirections(basis, reference, free.reach);
}

/** What the slide test needs of the evidence it tries. */
interface SlideTrial {
  /** Sample spacing, mm. */
  readonly spacing: number;
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
export function findFreeMotions(settled: SettledMotion, trial: SlideTrial): FreeMotions {
  const { matched, center, reach } = settled;
  if (matched < 6 || !(reach > 0)) return ALL_HELD;
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
  return { directions: basis, center, reach, score: highest };
}
