import type { BlockCovariance } from './block-covariance.ts';
import { propagateParts } from './block-covariance.ts';
import type { LinearPart } from './linear-link.ts';
import { gatherFollowed, type LinearTarget, timesMatrix3 } from './target-elimination.ts';

/** Covariances around an eliminated target, 3 x 3 row-major, mm^2, in the axes of the job. */
export interface TargetCover {
  /** Of the adjusted target. */
  readonly own: Float64Array;
  /** Of each adjusted sighting: where the frame puts the target, minus the target. */
  readonly sightings: readonly Float64Array[];
}

/**
 * How well an eliminated target is known, and each of its sightings.
 *
 * Method   the target follows its frames (and scales) by B = Q sum W J; what they leave open is the cofactor Q.
 *
 * @param covariance of the blocks that the sightings' parts name
 * @param blockOfTerm block of each term, when the covariance takes in those that are considered, not estimated
 */
export function coverTarget(t: LinearTarget, covariance: BlockCovariance, blockOfTerm?: Int32Array): TargetCover {
  const moved = (p: LinearPart): LinearPart => ({ ...p, block: (blockOfTerm as Int32Array)[p.block] });
  const follow = [
    ...gatherFollowed(t, 'parts'),
    ...(blockOfTerm ? gatherFollowed(t, 'considered').map((f) => ({ ...f, block: blockOfTerm[f.block] })) : []),
  ].map((f) => {
    // B = Q U^T, 3 x width.
    const v = timesMatrix3(f.u, t.cofactor, f.width);
    const jacobian = new Float64Array(v.length);
    for (let r = 0; r < f.width; r++) for (let c = 0; c < 3; c++) jacobian[c * f.width + r] = v[3 * r + c];
    return { block: f.block, width: f.width, jacobian };
  });
  const own = Float64Array.from(t.cofactor);
  const fromBlocks = propagateParts(follow, 3, covariance);
  for (let e = 0; e < 9; e++) own[e] += fromBlocks[e];
  for (let i = 0; i < 3; i++) {
    for (let j = 0; j < i; j++) {
      const mean = (own[3 * i + j] + own[3 * j + i]) / 2;
      own[3 * i + j] = mean;
      own[3 * j + i] = mean;
    }
  }
  const sightings = t.sightings.map((s) => {
    const parts = blockOfTerm ? [...s.parts, ...s.considered.map(moved)] : s.parts;
    const out = propagateParts(parts, 3, covariance);
    // Cross covariance of the target with what the sighting depends on, and with its own noise left to the cofactor.
    const cross = new Float64Array(9);
    for (const f of follow) {
      for (const p of parts) {
        const c = covariance(f.block, p.block);
        for (let i = 0; i < 3; i++) {
          for (let m = 0; m < p.width; m++) {
            let sum = 0;
            for (let k = 0; k < f.width; k++) sum += f.jacobian[i * f.width + k] * c[k * p.width + m];
            for (let j = 0; j < 3; j++) cross[3 * i + j] += sum * p.jacobian[j * p.width + m];
          }
        }
      }
    }
    for (let i = 0; i < 3; i++)
      for (let j = 0; j < 3; j++) out[3 * i + j] += own[3 * i + j] - cross[3 * i + j] - cross[3 * j + i];
    return out;
  });
  return { own, sightings };
}
