import {
  choleskyFactor,
  choleskyInverse,
  compose,
  invert,
  type Pose,
  quaternionOfVector,
  transformPoint,
  vectorOfQuaternion,
} from '../math/index.ts';
import type { NetworkState, NetworkUnknowns } from './linear-link.ts';
import type { NetworkModel } from './network-model.ts';
import { combineMotions, rigidMotions } from './rigid-motions.ts';

/** Frames and points that carry the datum of inner constraints: one for each unknown that counts. */
export type DatumMask = Uint8Array;

/** Marks the unknowns of the chosen points, or, when none are chosen, those of all frames (of all points without frames). */
export function markDatum(
  model: NetworkModel,
  unknowns: NetworkUnknowns,
  points: readonly string[] | undefined,
): DatumMask {
  const mask = new Uint8Array(unknowns.offsets[unknowns.sizes.length]);
  const mark = (block: number, size: number): void => {
    if (block >= 0) mask.fill(1, unknowns.offsets[block], unknowns.offsets[block] + size);
  };
  const isByPoints = points !== undefined || unknowns.blockOfFrame.every((b) => b < 0);
  if (isByPoints) {
    const chosen = points && new Set(points);
    model.points.forEach((p, i) => {
      if (!chosen || chosen.has(p.name)) mark(unknowns.blockOfPoint[i], 3);
    });
  } else for (const block of unknowns.blockOfFrame) mark(block, 6);
  return mask;
}

/** (G^T E G)^-1 for the free motions G over the marked unknowns. */
function datumCofactor(free: readonly Float64Array[], mask: DatumMask): Float64Array {
  const n = free.length;
  const normal = new Float64Array(n * n);
  for (let i = 0; i < n; i++) {
    for (let j = 0; j < n; j++) {
      const [a, b] = [free[i] as Float64Array, free[j] as Float64Array];
      for (let k = 0; k < mask.length; k++) if (mask[k]) normal[n * i + j] += a[k] * b[k];
    }
  }
  const factor = choleskyFactor(normal, n);
  if (!factor) throw new RangeError('What was chosen does not span a datum: it can move while its members stay.');
  return choleskyInverse(factor, n);
}

/**
 * Moves a solved network as a whole so that what carries the datum has moved least from where it started: inner constraints.
 *
 * Method   minimum-norm datum of a free network [Niemeier08, ch. 5]; the norm takes shifts of points and of the frames'
 *          centres, and rotations as lengths at the frames' radii.
 *
 * @param combinations the rigid motions that are free (see `freeRigidMotions`)
 */
export function moveToInnerDatum(
  model: NetworkModel,
  unknowns: NetworkUnknowns,
  mask: DatumMask,
  combinations: readonly Float64Array[],
  start: NetworkState,
  solved: NetworkState,
): NetworkState {
  let state = solved;
  if (combinations.length === 0) return state;
  // The motion is finite: a few rounds leave less than rounding for all but absurd starts.
  for (let round = 0; round < 6; round++) {
    const motions = rigidMotions(model, unknowns, state);
    const free = combineMotions(motions, combinations);
    const cofactor = datumCofactor(free, mask);
    const off = displacement(model, unknowns, start, state);
    const met = free.map((g) => g.reduce((sum, v, k) => sum + (mask[k] ? v * off[k] : 0), 0));
    const whole = new Float64Array(6);
    combinations.forEach((v, a) => {
      const amount = met.reduce((sum, m, b) => sum - cofactor[free.length * a + b] * m, 0);
      for (let k = 0; k < 6; k++) whole[k] += amount * v[k];
    });
    const turn = quaternionOfVector([whole[3] / motions.extent, whole[4] / motions.extent, whole[5] / motions.extent]);
    const motion: Pose = { rotation: turn, translation: [whole[0], whole[1], whole[2]] };
    state = {
      poses: state.poses.map((pose) => compose(motion, pose)),
      points: state.points.map((p, i) => (model.points[i]?.fixed ? p : transformPoint(motion, p))),
      terms: state.terms,
    };
  }
  return state;
}

/** How far all unknowns are from where they started. */
function displacement(
  model: NetworkModel,
  unknowns: NetworkUnknowns,
  start: NetworkState,
  state: NetworkState,
): Float64Array {
  const out = new Float64Array(unknowns.offsets[unknowns.sizes.length]);
  unknowns.blockOfFrame.forEach((block, i) => {
    if (block < 0) return;
    const [now, before] = [state.poses[i] as Pose, start.poses[i] as Pose];
    const turn = vectorOfQuaternion(compose(now, invert(before)).rotation);
    const at = unknowns.offsets[block];
    for (let k = 0; k < 3; k++) {
      out[at + k] = (now.translation[k] as number) - (before.translation[k] as number);
      out[at + 3 + k] = (turn[k] as number) * (model.radii[i] as number);
    }
  });
  unknowns.blockOfPoint.forEach((block, i) => {
    if (block < 0) return;
    for (let k = 0; k < 3; k++)
      out[unknowns.offsets[block] + k] = (state.points[i]?.[k] as number) - (start.points[i]?.[k] as number);
  });
  return out;
}

/**
 * Brings a covariance into the datum of inner constraints: C' = S C S^T, S = I - G (G^T E G)^-1 G^T E (Baarda 1973).
 *
 * @param covariance n x n row-major, n at least the number of unknowns (what comes after them is left alone); changed in place
 */
export function transformToInnerDatum(
  covariance: Float64Array,
  n: number,
  free: readonly Float64Array[],
  mask: DatumMask,
): void {
  const k = free.length;
  if (k === 0) return;
  const cofactor = datumCofactor(free, mask);
  // P = (G^T E G)^-1 G^T E C, k x n: what is taken from every column.
  const takeFromRows = (): void => {
    const met = free.map((g) => {
      const sum = new Float64Array(n);
      for (let r = 0; r < mask.length; r++) {
        if (!mask[r]) continue;
        for (let c = 0; c < n; c++) sum[c] += g[r] * covariance[r * n + c];
      }
      return sum;
    });
    for (let a = 0; a < k; a++) {
      const amount = new Float64Array(n);
      for (let b = 0; b < k; b++)
        for (let c = 0; c < n; c++) amount[c] += cofactor[k * a + b] * (met[b] as Float64Array)[c];
      const g = free[a] as Float64Array;
      for (let r = 0; r < g.length; r++) {
        if (g[r] === 0) continue;
        for (let c = 0; c < n; c++) covariance[r * n + c] -= g[r] * amount[c];
      }
    }
  };
  takeFromRows();
  transposeSquare(covariance, n);
  takeFromRows();
  for (let r = 0; r < n; r++) {
    for (let c = 0; c < r; c++) {
      const mean = (covariance[r * n + c] + covariance[c * n + r]) / 2;
      covariance[r * n + c] = mean;
      covariance[c * n + r] = mean;
    }
  }
}

function transposeSquare(m: Float64Array, n: number): void {
  for (let r = 0; r < n; r++) {
    for (let c = 0; c < r; c++) {
      const value = m[r * n + c];
      m[r * n + c] = m[c * n + r];
      m[c * n + r] = value;
    }
  }
}
