import {
  choleskyFactor,
  choleskyInverse,
  compose,
  invert,
  type Pose,
  quaternionOfVector,
  vectorOfQuaternion,
} from '../math/index.ts';
import type { BlockCholesky } from './block-cholesky.ts';
import { BLOCK } from './block-matrix.ts';
import type { NetworkModel } from './network-model.ts';
import type { FrameCovariance } from './network-residuals.ts';

/** How frame i moves when the whole network moves about the job's (local) origin: 6 x 6, rotations as lengths. */
function datumMatrix(pose: Pose, radius: number, extent: number): Float64Array {
  const g = new Float64Array(BLOCK * BLOCK);
  const [x, y, z] = pose.translation;
  for (let k = 0; k < 3; k++) {
    g[7 * k] = 1;
    g[7 * (k + 3)] = radius / extent;
  }
  // r x c
  g[4] = z / extent;
  g[5] = -y / extent;
  g[BLOCK + 3] = -z / extent;
  g[BLOCK + 5] = x / extent;
  g[2 * BLOCK + 3] = y / extent;
  g[2 * BLOCK + 4] = -x / extent;
  return g;
}

interface InnerDatum {
  readonly members: readonly number[];
  readonly matrices: readonly Float64Array[];
  /** (sum G^T G)^-1. */
  readonly cofactor: Float64Array;
  readonly extent: number;
}

function makeInnerDatum(model: NetworkModel, members: readonly number[], poses: readonly Pose[]): InnerDatum {
  const extent = members.reduce(
    (most, i) => Math.max(most, Math.hypot(...(poses[i] as Pose).translation), model.radii[i] as number),
    0,
  );
  const matrices = members.map((i) => datumMatrix(poses[i] as Pose, model.radii[i] as number, extent));
  const normal = new Float64Array(36);
  for (const g of matrices) {
    for (let i = 0; i < 6; i++)
      for (let j = 0; j < 6; j++) for (let k = 0; k < 6; k++) normal[6 * i + j] += g[6 * k + i] * g[6 * k + j];
  }
  const factor = choleskyFactor(normal, 6);
  if (!factor) throw new RangeError('The frames do not span a datum.');
  return { members, matrices, cofactor: choleskyInverse(factor, 6), extent };
}

/**
 * Moves a solved network as a whole so that the frames have moved least from where they started: inner constraints.
 *
 * Method   minimum-norm datum of a free network [Niemeier08, ch. 5]; the norm takes shifts of the frames' centres, and
 *          rotations as lengths at the frames' radii.
 */
export function moveToInnerDatum(
  model: NetworkModel,
  members: readonly number[],
  start: readonly Pose[],
  solved: readonly Pose[],
): Pose[] {
  let poses = [...solved];
  // The motion is finite: three rounds leave less than rounding for all but absurd starts.
  for (let round = 0; round < 4; round++) {
    const datum = makeInnerDatum(model, members, poses);
    const moved = new Float64Array(6);
    members.forEach((i, n) => {
      const off = compose(poses[i] as Pose, invert(start[i] as Pose));
      const turn = vectorOfQuaternion(off.rotation);
      const [p, q] = [(poses[i] as Pose).translation, (start[i] as Pose).translation];
      const radius = model.radii[i] as number;
      const motion = [p[0] - q[0], p[1] - q[1], p[2] - q[2], turn[0] * radius, turn[1] * radius, turn[2] * radius];
      const g = datum.matrices[n] as Float64Array;
      for (let a = 0; a < 6; a++) for (let b = 0; b < 6; b++) moved[a] += g[6 * b + a] * (motion[b] as number);
    });
    const shift = [0, 1, 2, 3, 4, 5].map((a) =>
      [0, 1, 2, 3, 4, 5].reduce((sum, b) => sum - datum.cofactor[6 * a + b] * moved[b], 0),
    ) as number[];
    const at = (k: number): number => shift[k] as number;
    const turn = quaternionOfVector([at(3) / datum.extent, at(4) / datum.extent, at(5) / datum.extent]);
    const motion: Pose = { rotation: turn, translation: [at(0), at(1), at(2)] };
    poses = poses.map((pose) => compose(motion, pose));
  }
  return poses;
}

/**
 * Covariances of the frames in the datum of inner constraints, from those with one frame held.
 *
 * Method   S-transformation (Baarda 1973): C' = S C S^T, S = I - G (G^T G)^-1 G^T.
 */
export function innerDatumCovariance(
  model: NetworkModel,
  members: readonly number[],
  poses: readonly Pose[],
  blockOf: Int32Array,
  factor: BlockCholesky,
): FrameCovariance {
  const datum = makeInnerDatum(model, members, poses);
  // P = C G, six columns; Q = G^T C G.
  const columns: Float64Array[] = [];
  for (let c = 0; c < 6; c++) {
    const right = new Float64Array(BLOCK * factor.blockCount);
    members.forEach((i, n) => {
      const block = blockOf[i] as number;
      if (block >= 0)
        for (let r = 0; r < 6; r++) right[block * BLOCK + r] = (datum.matrices[n] as Float64Array)[6 * r + c];
    });
    columns.push(factor.solve(right));
  }
  const projected = (i: number): Float64Array => {
    const block = blockOf[i] as number;
    return Float64Array.from({ length: 36 }, (_, e) =>
      block < 0 ? 0 : (columns[e % 6] as Float64Array)[block * BLOCK + Math.floor(e / 6)],
    );
  };
  const inner = new Float64Array(36);
  members.forEach((i, n) => {
    const p = projected(i);
    const g = datum.matrices[n] as Float64Array;
    for (let a = 0; a < 6; a++)
      for (let b = 0; b < 6; b++) for (let k = 0; k < 6; k++) inner[6 * a + b] += g[6 * k + a] * p[6 * k + b];
  });
  const times = (a: Float64Array, b: Float64Array): Float64Array => {
    const out = new Float64Array(36);
    for (let i = 0; i < 6; i++)
      for (let k = 0; k < 6; k++) for (let j = 0; j < 6; j++) out[6 * i + j] += a[6 * i + k] * b[6 * k + j];
    return out;
  };
  const transposed = (a: Float64Array): Float64Array =>
    Float64Array.from({ length: 36 }, (_, e) => a[(e % 6) * 6 + Math.floor(e / 6)]);
  const place = new Map(members.map((i, n) => [i, n]));
  const zero = new Float64Array(36);
  return (i, j) => {
    const [ni, nj] = [place.get(i), place.get(j)];
    if (ni === undefined || nj === undefined) return zero;
    const gi = times(datum.matrices[ni] as Float64Array, datum.cofactor);
    const gj = transposed(times(datum.matrices[nj] as Float64Array, datum.cofactor));
    const [bi, bj] = [blockOf[i] as number, blockOf[j] as number];
    const own = bi < 0 || bj < 0 ? zero : factor.inverseBlock(bi, bj);
    const left = times(gi, transposed(projected(j)));
    const right = times(projected(i), gj);
    const both = times(times(gi, inner), gj);
    return own.map((c, e) => c - left[e] - right[e] + both[e]);
  };
}
