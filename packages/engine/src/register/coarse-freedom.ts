import { perturb, symmetricEigen } from '../math/index.ts';
import type { CoarseModel } from './coarse-model.ts';
import { motionOfPose, poseOfMotion } from './coarse-motion.ts';
import { agreementLimit, type ScoredMotion, scoreMotion } from './coarse-search.ts';
import { settleOnSamples } from './coarse-settle.ts';
import { nameDirections } from './weak-directions.ts';

/** A motion along which the evidence hardly changes. */
export interface FreeMotion {
  /** In words, in the target's frame. */
  readonly name: string;
  /** Score after moving along it. */
  readonly score: number;
}

/** Samples are moved by so many spacings: farther than any settling error, less than most shapes repeat themselves. */
const STEP = 4;

/**
 * Tries whether a pose slides: moves along the motions that the overlap holds least and lets the rest settle.
 *
 * Method   eigenvectors of the point-to-plane information [Gelfand03]; instead of trusting their eigenvalues, which noise in the
 *          normals makes too large, each is tried: if the score stays within `margin` the pose is not held along it.
 *
 * @param margin how much the score must fall for the pose to count as held
 */
export function findFreeMotions(
  source: CoarseModel,
  target: CoarseModel,
  best: ScoredMotion,
  margin: number,
): FreeMotion[] {
  const { information, matched, center, reach } = best.settled;
  if (matched < 6 || !(reach > 0)) return [];
  const { vectors } = symmetricEigen(information, 6);
  const h = source.spacing;
  const limit = agreementLimit(source, target);
  const basis: number[][] = [];
  const scores: number[] = [];
  for (let k = 0; k < 5; k++) {
    const direction = [0, 1, 2, 3, 4, 5].map((row) => vectors[6 * row + k]);
    // Root mean square way of the overlap's points: a rotation moves them by sqrt(2/3) of its angle times reach.
    const way = Math.hypot(direction[0], direction[1], direction[2]) ** 2;
    const turn = (2 / 3) * Math.hypot(direction[3], direction[4], direction[5]) ** 2;
    const size = (STEP * h) / Math.sqrt(way + turn);
    let highest = -Infinity;
    for (const sign of [1, -1]) {
      const step = direction.map((value, i) => (sign * size * value) / (i < 3 ? 1 : reach));
      const moved = motionOfPose(perturb(poseOfMotion(best.motion), step, center));
      const settled = settleOnSamples(source.surface, [{ lookup: target.lookup, motion: null }], moved, {
        start: h,
        end: 2 * limit,
        rounds: 5,
        stride: 1,
        held: { direction, center, reach },
      });
      highest = Math.max(highest, scoreMotion(source, target, settled.motion).score);
    }
    if (highest < best.score - margin) break;
    basis.push(direction);
    scores.push(highest);
  }
  if (basis.length === 0) return [];
  const reference = [0, 1, 2].map((k) => center[k] + target.origin[k]) as [number, number, number];
  return nameDirections(basis, reference, reach).map((name) => ({ name, score: Math.max(...scores) }));
}
