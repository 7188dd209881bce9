// How far off a result is, in units of what it states.
import {
  chiSquareQuantile,
  compose,
  invert,
  type JointCovariance,
  type Pose,
  type SimulatedNetwork,
  symmetricEigen,
  transformPoint,
  type Vec3,
  vectorOfQuaternion,
} from '@lapjoint/engine';

import type { NetworkAnswer } from './estimate.ts';

/** What is counted: poses of frames, check points, distances between check points of two frames, of one frame. */
export const SCORED = ['poses', 'points', 'distances', 'ownDistances'] as const;
export type Scored = (typeof SCORED)[number];

/** One entry for each thing: inside its 95 % region or not, squared normalised error over its degrees of freedom, error over stated, stated in mm. */
export interface Tally {
  readonly inside: number[];
  readonly normalised: number[];
  readonly ratio: number[];
  readonly stated: number[];
}

/** Of one job. */
export type JobScore = Readonly<Record<Scored, Tally>>;

const LIMITS = [0, chiSquareQuantile(0.05, 1), 0, chiSquareQuantile(0.05, 3), 0, 0, chiSquareQuantile(0.05, 6)];

/** e^T C^-1 e, in the directions that C knows; Infinity where the error leaves them. */
function mahalanobis(covariance: readonly number[], error: readonly number[], unit: readonly number[]): number {
  const n = error.length;
  const scaled = covariance.map((c, k) => c * unit[Math.floor(k / n)] * unit[k % n]);
  const { values, vectors } = symmetricEigen(scaled, n);
  let sum = 0;
  for (let e = 0; e < n; e++) {
    let along = 0;
    for (let i = 0; i < n; i++) along += vectors[n * i + e] * error[i] * unit[i];
    sum += along === 0 ? 0 : (along * along) / Math.max(values[e], 1e-14 * values[n - 1]);
  }
  return sum;
}

/** Compares an answer with the truth. */
export function scoreNetwork(network: SimulatedNetwork, { frames, joint }: NetworkAnswer): JobScore {
  const n = 6 * joint.frames.length + joint.terms.length;
  const score = Object.fromEntries(
    SCORED.map((kind) => [kind, { inside: [], normalised: [], ratio: [], stated: [] }]),
  ) as unknown as JobScore;
  const note = (kind: Scored, squared: number, dof: number, error: number, stated: number): void => {
    score[kind].inside.push(squared <= LIMITS[dof] ? 1 : 0);
    score[kind].normalised.push(squared / dof);
    score[kind].ratio.push(error / stated);
    score[kind].stated.push(stated);
  };
  const poseOf = new Map(frames.map(({ frame, jobFromFrame }) => [frame, jobFromFrame]));
  // The job's frame is where the first frame's pose, taken at its reference, is what the adjustment holds it at.
  const first = joint.frames[0];
  const firstTruth = network.truth.get(first.frame);
  if (!firstTruth) throw new Error('no truth');
  const shiftOf = (stretch: number, centre: Vec3, reference: Vec3): Vec3 =>
    centre.map((c, k) => stretch * (c - reference[k])) as unknown as Vec3;
  const held = moved(firstTruth.jobFromFrame, shiftOf(firstTruth.stretch, firstTruth.centre, first.reference));
  const resultFromTruth = compose(poseOf.get(first.frame) as Pose, invert(held));

  const places: { frame: number; at: Vec3; error: Vec3; row: Float64Array[] }[] = [];
  joint.frames.forEach(({ frame, reference }, index) => {
    const truth = network.truth.get(frame);
    const pose = poseOf.get(frame);
    if (!truth || !pose) throw new Error(`No pose for ${frame}.`);
    const trueReference = transformPoint(invert(resultFromTruth), reference);
    const truePose = compose(
      resultFromTruth,
      moved(truth.jobFromFrame, shiftOf(truth.stretch, truth.centre, trueReference)),
    );
    if (index > 0) {
      const off = compose(truePose, invert(pose));
      const at = transformPoint(off, reference);
      const error = [...at.map((x, k) => x - reference[k]), ...vectorOfQuaternion(off.rotation)];
      const block = Array.from({ length: 36 }, (_, k) => {
        return joint.matrix[(6 * index + Math.floor(k / 6)) * n + 6 * index + (k % 6)];
      });
      const shift = Math.sqrt(block[0] + block[7] + block[14]);
      const turn = Math.sqrt(block[21] + block[28] + block[35]);
      const arm = turn > 0 ? shift / turn : 1;
      const squared = mahalanobis(block, error, [1, 1, 1, arm, arm, arm]);
      note('poses', squared, 6, Math.hypot(...error.slice(0, 3)), shift);
    }
    for (let i = 0; i < truth.checkPoints.length; i += 3) {
      const [x, y, z] = truth.checkPoints.subarray(i, i + 3);
      const stretched: Vec3 = [x, y, z].map(
        (v, k) => truth.centre[k] + (1 + truth.stretch) * (v - truth.centre[k]),
      ) as unknown as Vec3;
      const found = transformPoint(pose, transformPoint(invert(truth.jobFromFrame), stretched));
      const real = transformPoint(resultFromTruth, [x, y, z]);
      const error = real.map((v, k) => v - found[k]) as unknown as Vec3;
      places.push({ frame: index, at: found, error, row: pointRows(joint, index, found, n) });
    }
  });
  for (const place of places) {
    if (place.frame === 0) continue;
    const covariance = covarianceOf(joint.matrix, place.row, place.row, n);
    const stated = Math.sqrt(covariance[0] + covariance[4] + covariance[8]);
    note('points', mahalanobis(covariance, place.error, [1, 1, 1]), 3, Math.hypot(...place.error), stated);
  }
  for (let i = 0; i < places.length; i++) {
    // A few partners each, the same for every job: near ones, far ones, of the same frame and others.
    for (const step of [5, 17, 41]) {
      const a = places[i];
      const b = places[(i + step) % places.length];
      const gap = a.at.map((x, k) => x - b.at[k]);
      const length = Math.hypot(...gap);
      if (length < 50) continue;
      const e = gap.map((x) => x / length);
      const change = e.reduce((sum, x, k) => sum + x * (a.error[k] - b.error[k]), 0);
      const row = new Float64Array(n);
      for (let c = 0; c < n; c++) for (let k = 0; k < 3; k++) row[c] += e[k] * (a.row[k][c] - b.row[k][c]);
      const variance = covarianceOf(joint.matrix, [row], [row], n)[0];
      // Rounding of sums of large parts that cancel is no uncertainty.
      const stated = Math.sqrt(Math.max(variance, 1e-18));
      note(a.frame === b.frame ? 'ownDistances' : 'distances', (change / stated) ** 2, 1, Math.abs(change), stated);
    }
  }
  return score;
}

function moved(pose: Pose, shift: Vec3): Pose {
  return { ...pose, translation: pose.translation.map((x, k) => x + shift[k]) as unknown as Vec3 };
}

/** Rows of d(place)/d(state), see `JointCovariance`. */
function pointRows(joint: JointCovariance, frame: number, at: Vec3, n: number): Float64Array[] {
  const arm = at.map((x, k) => x - joint.frames[frame].reference[k]);
  const rows = [0, 1, 2].map(() => new Float64Array(n));
  for (let k = 0; k < 3; k++) {
    rows[k][6 * frame + k] = 1;
    const [p, q] = [(k + 1) % 3, (k + 2) % 3];
    // (r x arm)_k = r_p arm_q - r_q arm_p
    rows[k][6 * frame + 3 + p] = arm[q];
    rows[k][6 * frame + 3 + q] = -arm[p];
    joint.terms.forEach((term, t) => {
      rows[k][6 * joint.frames.length + t] = -term.coefficients[frame] * arm[k];
    });
  }
  return rows;
}

function covarianceOf(matrix: Float64Array, left: readonly Float64Array[], right: readonly Float64Array[], n: number) {
  return left.flatMap((l) =>
    right.map((r) => {
      let sum = 0;
      for (let i = 0; i < n; i++) {
        if (l[i] === 0) continue;
        let inner = 0;
        for (let j = 0; j < n; j++) if (r[j] !== 0) inner += matrix[i * n + j] * r[j];
        sum += l[i] * inner;
      }
      return sum;
    }),
  );
}
