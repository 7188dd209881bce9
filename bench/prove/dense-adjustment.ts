// The adjustment once more, dense and plain: what weighed overlaps, shared scans and scale terms have to give. It stands
// beside the engine's own adjustment as its check, and needs nothing of it but the settled poses.
import {
  choleskyFactor,
  choleskyInverse,
  compose,
  invert,
  type JointCovariance,
  type OverlapCorrelation,
  type OverlapObservation,
  type Pose,
  perturb,
  rotationMatrix,
  type TargetObservation,
  transformPoint,
  type Vec3,
  vectorOfQuaternion,
} from '@lapjoint/engine';
import { framesOf, type NetworkAnswer, type SettledNetwork } from './estimate.ts';

interface State {
  readonly frames: readonly string[];
  readonly poses: Map<string, Pose>;
  readonly references: Map<string, Vec3>;
  readonly points: Map<string, Vec3>;
}

/** Rows of a relative motion in frame B (six) by the job motions of a frame: R_b^T [t + r x (q - c); r]. */
function motionRows(jobFromB: Pose, at: Vec3, reference: Vec3, sign: number): number[][] {
  const r = rotationMatrix(jobFromB.rotation);
  const arm = at.map((x, k) => x - reference[k]);
  return [0, 1, 2, 3, 4, 5].map((row) => {
    const out = [0, 0, 0, 0, 0, 0];
    for (let k = 0; k < 3; k++) {
      const turned = sign * r[3 * k + (row % 3)];
      if (row >= 3) {
        out[3 + k] += turned;
        continue;
      }
      out[k] += turned;
      const [p, q] = [(k + 1) % 3, (k + 2) % 3];
      out[3 + p] += turned * arm[q];
      out[3 + q] -= turned * arm[p];
    }
    return out;
  });
}

/** Least squares with the covariance of all frames and terms. */
export function adjustDensely(
  settled: SettledNetwork,
  overlaps: readonly OverlapObservation[],
  correlations: readonly OverlapCorrelation[],
): NetworkAnswer {
  const { data } = settled;
  const frames = framesOf(settled);
  const targets = settled.fixed as readonly TargetObservation[];
  const poses = new Map(settled.poses);
  const state: State = { frames: data.frames, poses, references: new Map(), points: new Map() };
  for (const target of targets) {
    if (state.points.has(target.target)) continue;
    const seen = targets.filter((one) => one.target === target.target);
    const places = seen.map((one) => transformPoint(poses.get(one.frame) as Pose, one.position));
    state.points.set(
      target.target,
      [0, 1, 2].map((k) => places.reduce((sum, p) => sum + p[k], 0) / places.length) as unknown as Vec3,
    );
  }
  let joint: JointCovariance | null = null;
  for (let iteration = 0; iteration < 4; iteration++) {
    for (const { frame, centre } of frames)
      state.references.set(frame, transformPoint(poses.get(frame) as Pose, centre as Vec3));
    joint = step(settled, state, overlaps, correlations, targets);
  }
  return {
    frames: data.frames.map((frame) => ({ frame, jobFromFrame: poses.get(frame) as Pose })),
    joint: joint as JointCovariance,
  };
}

function step(
  settled: SettledNetwork,
  state: State,
  overlaps: readonly OverlapObservation[],
  correlations: readonly OverlapCorrelation[],
  targets: readonly TargetObservation[],
): JointCovariance {
  const { frames, poses, references, points } = state;
  const names = [...points.keys()];
  const frameSize = 6 * (frames.length - 1);
  const size = frameSize + 3 * names.length;
  const normal = new Float64Array(size * size);
  const right = new Float64Array(size);
  const spread = new Float64Array(size * size);
  const terms = settled.data.scaleTerms;
  const byTerm = terms.map(() => new Float64Array(size));
  const columnOf = (frame: string): number => 6 * (frames.indexOf(frame) - 1);
  const addBlock = (
    into: Float64Array,
    rows: number[][],
    weight: (r: number, c: number) => number,
    others: number[][],
  ) => {
    // rows and others: six observed numbers by the whole state
    for (let i = 0; i < size; i++) {
      for (let r = 0; r < rows.length; r++) {
        if (rows[r][i] === 0) continue;
        for (let c = 0; c < others.length; c++) {
          const w = rows[r][i] * weight(r, c);
          if (w !== 0) for (let j = 0; j < size; j++) into[i * size + j] += w * others[c][j];
        }
      }
    }
  };
  const rowsOf = new Map<string, number[][]>();
  for (const overlap of overlaps) {
    const weighed = overlap.weighed;
    if (weighed === null) throw new Error('An overlap is not weighed.');
    const [a, b] = [poses.get(overlap.frameA) as Pose, poses.get(overlap.frameB) as Pose];
    const off = compose(compose(invert(b), a), invert(overlap.bFromA0));
    const moved = transformPoint(off, overlap.reference);
    const motion = [...moved.map((x, k) => x - overlap.reference[k]), ...vectorOfQuaternion(off.rotation)];
    const at = transformPoint(b, overlap.reference);
    const rows = [0, 1, 2, 3, 4, 5].map(() => new Array<number>(size).fill(0));
    for (const [frame, sign] of [
      [overlap.frameA, 1],
      [overlap.frameB, -1],
    ] as const) {
      const column = columnOf(frame);
      if (column < 0) continue;
      motionRows(b, at, references.get(frame) as Vec3, sign).forEach((row, k) => {
        for (let c = 0; c < 6; c++) rows[k][column + c] = row[c];
      });
    }
    rowsOf.set(overlap.tie, rows);
    const info = (r: number, c: number): number => weighed.information[7 * r + c];
    addBlock(normal, rows, info, rows);
    addBlock(spread, rows, info, rows);
    for (let r = 0; r < 6; r++) {
      let slope = weighed.gradient[r];
      for (let c = 0; c < 6; c++) slope += info(r, c) * motion[c];
      for (let i = 0; i < size; i++) right[i] -= rows[r][i] * slope;
    }
    const rb = rotationMatrix(b.rotation);
    terms.forEach((term, t) => {
      const change = new Array<number>(7).fill(0);
      for (const [frame, sign] of [
        [overlap.frameA, 1],
        [overlap.frameB, -1],
      ] as const) {
        const coefficient = sign * (term.coefficients.get(frame) ?? 0);
        const arm = at.map((x, k) => x - (references.get(frame) as Vec3)[k]);
        for (let k = 0; k < 3; k++) for (let m = 0; m < 3; m++) change[k] += coefficient * rb[3 * m + k] * arm[m];
        change[6] += coefficient;
      }
      for (let r = 0; r < 6; r++) {
        let pull = 0;
        for (let c = 0; c < 7; c++) pull += info(r, c) * change[c];
        for (let i = 0; i < size; i++) byTerm[t][i] += rows[r][i] * pull;
      }
    });
  }
  for (const { tieA, tieB, gradientCovariance } of correlations) {
    const [a, b] = [rowsOf.get(tieA) as number[][], rowsOf.get(tieB) as number[][]];
    addBlock(spread, a, (r, c) => gradientCovariance[6 * r + c], b);
    addBlock(spread, b, (r, c) => gradientCovariance[6 * c + r], a);
  }
  for (const target of targets) {
    const weight = 1 / target.covariance[0];
    const found = transformPoint(poses.get(target.frame) as Pose, target.position);
    const arm = found.map((x, k) => x - (references.get(target.frame) as Vec3)[k]);
    const column = columnOf(target.frame);
    const point = frameSize + 3 * names.indexOf(target.target);
    const rows = [0, 1, 2].map((k) => {
      const row = new Array<number>(size).fill(0);
      row[point + k] = -1;
      if (column >= 0) {
        const [p, q] = [(k + 1) % 3, (k + 2) % 3];
        row[column + k] = 1;
        row[column + 3 + p] = arm[q];
        row[column + 3 + q] = -arm[p];
      }
      return row;
    });
    const own = (r: number, c: number): number => (r === c ? weight : 0);
    addBlock(normal, rows, own, rows);
    addBlock(spread, rows, own, rows);
    for (let k = 0; k < 3; k++) {
      const e = found[k] - (points.get(target.target) as Vec3)[k];
      for (let i = 0; i < size; i++) right[i] -= rows[k][i] * weight * e;
      terms.forEach((term, t) => {
        const change = weight * (term.coefficients.get(target.frame) ?? 0) * arm[k];
        for (let i = 0; i < size; i++) byTerm[t][i] += rows[k][i] * change;
      });
    }
  }
  // Alike units for the factor.
  const unit = Float64Array.from({ length: size }, (_, i) => 1 / Math.sqrt(normal[i * size + i]));
  const factor = choleskyFactor(
    normal.map((v, k) => v * unit[Math.floor(k / size)] * unit[k % size]),
    size,
  );
  if (factor === null) throw new Error('The network does not hold.');
  const inverse = choleskyInverse(factor, size).map((v, k) => v * unit[Math.floor(k / size)] * unit[k % size]);
  const times = (m: Float64Array, v: Float64Array): Float64Array =>
    Float64Array.from({ length: size }, (_, i) => {
      let sum = 0;
      for (let j = 0; j < size; j++) sum += m[i * size + j] * v[j];
      return sum;
    });
  const change = times(inverse, right);
  frames.slice(1).forEach((frame, k) => {
    const motion = change.subarray(6 * k, 6 * k + 6);
    poses.set(frame, perturb(poses.get(frame) as Pose, motion, references.get(frame) as Vec3));
  });
  names.forEach((name, k) => {
    const old = points.get(name) as Vec3;
    points.set(name, old.map((x, a) => x + change[frameSize + 3 * k + a]) as unknown as Vec3);
  });
  const n = 6 * frames.length + terms.length;
  const matrix = new Float64Array(n * n);
  const half = new Float64Array(frameSize * size);
  for (let i = 0; i < frameSize; i++) {
    for (let k = 0; k < size; k++) {
      const w = inverse[i * size + k];
      if (w !== 0) for (let j = 0; j < size; j++) half[i * size + j] += w * spread[k * size + j];
    }
  }
  for (let i = 0; i < frameSize; i++) {
    for (let j = 0; j < frameSize; j++) {
      let sum = 0;
      for (let k = 0; k < size; k++) sum += half[i * size + k] * inverse[j * size + k];
      matrix[(6 + i) * n + 6 + j] = sum;
    }
  }
  terms.forEach((term, t) => {
    const effect = times(inverse, byTerm[t]);
    const variance = term.sigma ** 2;
    const at = 6 * frames.length + t;
    matrix[at * n + at] = variance;
    for (let i = 0; i < frameSize; i++) {
      matrix[(6 + i) * n + at] = effect[i] * variance;
      matrix[at * n + 6 + i] = effect[i] * variance;
      for (let j = 0; j < frameSize; j++) matrix[(6 + i) * n + 6 + j] += variance * effect[i] * effect[j];
    }
  });
  return {
    frames: frames.map((frame) => ({ frame, reference: references.get(frame) as Vec3 })),
    terms: terms.map((term) => ({
      name: term.name,
      coefficients: frames.map((frame) => term.coefficients.get(frame) ?? 0),
    })),
    matrix,
  };
}
