import { symmetricEigen } from '../math/index.ts';
import type { BlockMatrix } from './block-matrix.ts';
import type { NetworkState, NetworkUnknowns } from './linear-link.ts';
import type { NetworkModel } from './network-model.ts';

/** Motions of the network as a whole about the job offset: three shifts, three rotations as lengths at `extent`. */
export interface RigidMotions {
  /** Each over all unknowns. */
  readonly columns: readonly Float64Array[];
  readonly extent: number;
}

/** How all unknowns move when the network moves as a whole. Scales do not. */
export function rigidMotions(model: NetworkModel, unknowns: NetworkUnknowns, state: NetworkState): RigidMotions {
  const extent = networkExtent(model, unknowns, state);
  const { offsets, sizes } = unknowns;
  const columns = Array.from({ length: 6 }, () => new Float64Array(offsets[sizes.length]));
  const place = (at: number, p: readonly number[]): void => {
    const [x, y, z] = p.map((c) => c / extent) as [number, number, number];
    for (let k = 0; k < 3; k++) (columns[k] as Float64Array)[at + k] = 1;
    // r x p
    (columns[3] as Float64Array).set([0, -z, y], at);
    (columns[4] as Float64Array).set([z, 0, -x], at);
    (columns[5] as Float64Array).set([-y, x, 0], at);
  };
  unknowns.blockOfFrame.forEach((block, i) => {
    if (block < 0) return;
    place(offsets[block], state.poses[i]?.translation as readonly number[]);
    for (let k = 0; k < 3; k++)
      (columns[3 + k] as Float64Array)[offsets[block] + 3 + k] = (model.radii[i] as number) / extent;
  });
  unknowns.blockOfPoint.forEach((block, i) => {
    if (block >= 0) place(offsets[block], state.points[i] as readonly number[]);
  });
  return { columns, extent };
}

/** Largest distance from the job offset, or radius: the unit of rotations and of convergence, mm. */
export function networkExtent(model: NetworkModel, unknowns: NetworkUnknowns, state: NetworkState): number {
  let extent = 0;
  state.poses.forEach((pose, i) => {
    if (unknowns.usedFrames[i]) extent = Math.max(extent, Math.hypot(...pose.translation), model.radii[i] as number);
  });
  state.points.forEach((p, i) => {
    if (unknowns.usedPoints[i]) extent = Math.max(extent, Math.hypot(...p));
  });
  return extent > 0 ? extent : 1;
}

/** Share of what acts on the parts that still acts on the whole: below it, it is rounding. */
const FREE_SHARE = 1e-9;

/**
 * Combinations of the six rigid motions that no observation holds: six for relative observations alone, fewer where priors,
 * known points or directions of the job hold some (a levelling network: one).
 *
 * Method   eigenvalues of G^T N G relative to what the same motions meet block by block.
 *
 * @returns six-vectors over the columns of `motions`
 */
export function freeRigidMotions(
  normal: BlockMatrix,
  motions: RigidMotions,
  offsets: ArrayLike<number>,
): Float64Array[] {
  const { columns } = motions;
  const product = (i: number, j: number, of: readonly Float64Array[]): number => {
    const [g, h] = [columns[i] as Float64Array, of[j] as Float64Array];
    let sum = 0;
    for (let k = 0; k < g.length; k++) sum += g[k] * h[k];
    return sum;
  };
  const form = (entry: (i: number, j: number) => number): Float64Array =>
    Float64Array.from({ length: 36 }, (_, e) => entry(Math.floor(e / 6), e % 6));
  // Points in line do not move when they are turned about it: that is no motion of the network.
  const real = symmetricEigen(
    form((i, j) => product(i, j, columns)),
    6,
  );
  let basis: Float64Array[] = [];
  for (let e = 0; e < 6; e++) {
    if (real.values[e] > NO_MOTION * real.values[5])
      basis.push(Float64Array.from({ length: 6 }, (_, i) => real.vectors[6 * i + e]));
  }
  const met = columns.map((g) => normal.multiply(g, offsets));
  const whole = form((i, j) => product(i, j, met));
  const apart = blockwise(normal, motions, offsets);
  const free: Float64Array[] = [];
  // What meets nothing at all is free; of the rest, what acts on the whole against what acts on its parts.
  const size = symmetricEigen(within(apart, basis), basis.length);
  const largest = size.values[basis.length - 1];
  const kept: Float64Array[] = [];
  for (let e = 0; e < basis.length; e++) {
    const v = combine(basis, size.vectors, e);
    if (size.values[e] > 1e-14 * largest) kept.push(v.map((x) => x / Math.sqrt(size.values[e])));
    else free.push(v);
  }
  basis = kept;
  if (basis.length > 0) {
    const relative = symmetricEigen(within(whole, basis), basis.length);
    for (let e = 0; e < basis.length; e++)
      if (!(relative.values[e] > FREE_SHARE)) free.push(combine(basis, relative.vectors, e));
  }
  return free;
}

/** Squared share of a motion below which nothing moves. */
const NO_MOTION = 1e-14;

/** v_a^T m v_b over a basis of six-vectors. */
function within(m: Float64Array, basis: readonly Float64Array[]): Float64Array {
  const k = basis.length;
  return Float64Array.from({ length: k * k }, (_, e) => {
    const [a, b] = [basis[Math.floor(e / k)] as Float64Array, basis[e % k] as Float64Array];
    let sum = 0;
    for (let i = 0; i < 6; i++) for (let j = 0; j < 6; j++) sum += a[i] * m[6 * i + j] * b[j];
    return sum;
  });
}

/** Column e of eigenvectors over a basis, as a six-vector. */
function combine(basis: readonly Float64Array[], vectors: ArrayLike<number>, e: number): Float64Array {
  const v = new Float64Array(6);
  basis.forEach((own, a) => {
    for (let i = 0; i < 6; i++) v[i] += (vectors[basis.length * a + e] as number) * own[i];
  });
  return v;
}

/** What the motions meet when every block is taken for itself: no terms cancel. */
function blockwise(normal: BlockMatrix, motions: RigidMotions, offsets: ArrayLike<number>): Float64Array {
  const out = new Float64Array(36);
  normal.rows.forEach((row, b) => {
    const block = row.get(b) as Float64Array;
    const size = normal.sizes[b] as number;
    const at = offsets[b] as number;
    for (let i = 0; i < 6; i++) {
      for (let j = 0; j < 6; j++) {
        const [g, h] = [motions.columns[i] as Float64Array, motions.columns[j] as Float64Array];
        for (let r = 0; r < size; r++)
          for (let c = 0; c < size; c++) out[6 * i + j] += g[at + r] * block[size * r + c] * h[at + c];
      }
    }
  });
  return out;
}

/** Vectors over all unknowns for combinations of the rigid motions. */
export function combineMotions(motions: RigidMotions, combinations: readonly Float64Array[]): Float64Array[] {
  return combinations.map((v) => {
    const out = new Float64Array((motions.columns[0] as Float64Array).length);
    motions.columns.forEach((g, i) => {
      for (let k = 0; k < out.length; k++) out[k] += v[i] * g[k];
    });
    return out;
  });
}

/**
 * Adds to the normal matrix what keeps the given free motions where they are at a few blocks: then it has an inverse, and the
 * solution is that of the free network with those blocks held (Koch 1999, 3.5).
 *
 * @param hold blocks that together show every free motion: one frame, or three points that are not in line
 */
export function holdMotions(
  normal: BlockMatrix,
  free: readonly Float64Array[],
  hold: readonly number[],
  offsets: ArrayLike<number>,
): void {
  const rows = hold.flatMap((b) =>
    Array.from({ length: normal.sizes[b] as number }, (_, k) => (offsets[b] as number) + k),
  );
  const basis: Float64Array[] = [];
  for (const f of free) {
    const v = Float64Array.from(rows, (r) => f[r]);
    const before = Math.hypot(...v);
    for (let again = 0; again < 2; again++) {
      for (const b of basis) {
        let along = 0;
        for (let k = 0; k < v.length; k++) along += b[k] * v[k];
        for (let k = 0; k < v.length; k++) v[k] -= along * b[k];
      }
    }
    const length = Math.hypot(...v);
    if (length > 1e-9 * before) basis.push(v.map((x) => x / length));
  }
  let size = 0;
  for (const b of hold) {
    const own = normal.at(b, b);
    const n = normal.sizes[b] as number;
    for (let k = 0; k < n; k++) size = Math.max(size, own[k * (n + 1)]);
  }
  if (!(size > 0)) size = 1;
  let rowStart = 0;
  for (const bi of hold) {
    const ni = normal.sizes[bi] as number;
    let columnStart = 0;
    for (const bj of hold) {
      const nj = normal.sizes[bj] as number;
      if (bj <= bi) {
        const block = normal.at(bi, bj);
        for (const q of basis) {
          for (let r = 0; r < ni; r++)
            for (let c = 0; c < nj; c++) block[r * nj + c] += size * q[rowStart + r] * q[columnStart + c];
        }
      }
      columnStart += nj;
    }
    rowStart += ni;
  }
}
