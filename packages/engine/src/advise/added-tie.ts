import { choleskyFactor, type Vec3 } from '../math/index.ts';
import { type MotionCovariance, motionAbout, product, productTransposed } from './frame-motion.ts';
import { type JointState, MOTION } from './joint-state.ts';

/**
 * A tie that could be added: rows over the seven motion numbers of frame A and those of frame B about `place`, weighted so
 * that every row has unit variance.
 */
export interface AddedTie {
  /** Indices into the state; -1 for the frame that stays. */
  readonly frameA: number;
  readonly frameB: number;
  readonly place: Vec3;
  /** k x 14 row-major. */
  readonly rows: Float64Array;
  readonly rowCount: number;
}

/** What the tie would make of the covariance of any frame. */
export interface AddedTieEffect {
  readonly motionOf: (frame: number) => MotionCovariance;
}

const ORIGIN: Vec3 = [0, 0, 0];

/** Covariance of a frame's motion as it is. */
export function presentMotion(state: JointState, frame: number): MotionCovariance {
  const s = state.sensitivity(frame);
  const q = state.termCount;
  return {
    reference: state.references[frame] ?? ORIGIN,
    ties: state.between(frame, frame),
    scale: productTransposed(product(s, state.terms, MOTION, q, q), s, MOTION, q, MOTION),
  };
}

/**
 * Covariances after one tie is added, without solving the network again.
 *
 * Method   update of low rank [Woodbury50] in covariance form: G = P S^T (S P S^T + I)^-1, P' = P - G S P; considered terms
 *          keep their covariance, and what they do to the frames changes by the same gain [Schmidt66].
 * Assumes  the covariance is that of a least-squares answer with the weights it states.
 */
export function addTie(state: JointState, tie: AddedTie): AddedTieEffect {
  const k = tie.rowCount;
  const q = state.termCount;
  const sides = [tie.frameA, tie.frameB].flatMap((frame, side) => {
    if (frame < 0) return [];
    const part = new Float64Array(k * MOTION);
    for (let r = 0; r < k; r++)
      part.set(tie.rows.subarray(14 * r + MOTION * side, 14 * r + MOTION * side + MOTION), MOTION * r);
    return [{ frame, rows: product(part, motionAbout(tie.place, state.references[frame] as Vec3), k, MOTION, MOTION) }];
  });
  /** S P of one frame: k x 7. */
  const carried = (frame: number): Float64Array => {
    const out = new Float64Array(k * MOTION);
    for (const side of sides) {
      const part = product(side.rows, state.between(side.frame, frame), k, MOTION, MOTION);
      for (let i = 0; i < out.length; i++) out[i] += part[i];
    }
    return out;
  };
  const middle = new Float64Array(k * k);
  const termRows = new Float64Array(k * q);
  for (const side of sides) {
    const part = productTransposed(carried(side.frame), side.rows, k, MOTION, k);
    for (let i = 0; i < middle.length; i++) middle[i] += part[i];
    const terms = product(side.rows, state.sensitivity(side.frame), k, MOTION, q);
    for (let i = 0; i < terms.length; i++) termRows[i] += terms[i];
  }
  for (let i = 0; i < k; i++) middle[i * k + i] += 1;
  const factor = choleskyFactor(middle, k);
  if (factor === null) throw new RangeError('The covariance of the network is not positive.');
  const motionOf = (frame: number): MotionCovariance => {
    const present = presentMotion(state, frame);
    if (frame < 0) return present;
    // Columns of L^-1 S P and L^-1 (S K + S_terms): P' = P - V^T V, K' = K - V^T W.
    const v = forward(factor, carried(frame), k, MOTION);
    const w = forward(factor, termRows, k, q);
    const ties = present.ties.slice();
    const sensitivity = state.sensitivity(frame);
    for (let i = 0; i < MOTION; i++) {
      for (let r = 0; r < k; r++) {
        const own = v[r * MOTION + i];
        for (let j = 0; j < MOTION; j++) ties[MOTION * i + j] -= own * v[r * MOTION + j];
        for (let b = 0; b < q; b++) sensitivity[i * q + b] -= own * w[r * q + b];
      }
    }
    const scale = productTransposed(product(sensitivity, state.terms, MOTION, q, q), sensitivity, MOTION, q, MOTION);
    return { reference: present.reference, ties, scale };
  };
  return { motionOf };
}

/** L^-1 B for B of n x c. */
function forward(factor: Float64Array, b: Float64Array, n: number, c: number): Float64Array {
  const out = b.slice();
  for (let i = 0; i < n; i++) {
    for (let k = 0; k < i; k++) {
      const value = factor[i * n + k];
      for (let j = 0; j < c; j++) out[i * c + j] -= value * out[k * c + j];
    }
    for (let j = 0; j < c; j++) out[i * c + j] /= factor[i * n + i];
  }
  return out;
}
