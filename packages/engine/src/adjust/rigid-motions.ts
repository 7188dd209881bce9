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
  const n = 6;
  const whole = new Float64Array(36);
  const apart = new Float64Array(36);
  const met = motions.columns.map((g) => normal.multiply(g, offsets));
  for (let i = 0; i < n; i++) {
    for (let j = 0; j < n; j++) {
      const [g, h] = [motions.columns[i] as Float64Array, met[j] as Float64Array];
      for (let k = 0; k < g.length; k++) whole[n * i + j] += g[k] * h[k];
    }
  }
  normal.rows.forEach((row, b) => {
    const block = row.get(b) as Float64Array;
    const size = normal.sizes[b] as number;
    const at = offsets[b] as number;
    for (let i = 0; i < n; i++) {
      for (let j = 0; j < n; j++) {
        const [g, h] = [motions.columns[i] as Float64Array, motions.columns[j] as Float64Array];
        for (let r = 0; r < size; r++)
          for (let c = 0; c < size; c++) apart[n * i + j] += g[at + r] * block[size * r + c] * h[at + c];
      }
    }
  });
  const scale = symmetricEigen(apart, n);
  const largest = scale.values[n - 1];
  const free: Float64Array[] = [];
  const kept: Float64Array[] = [];
  for (let e = 0; e < n; e++) {
    const v = Float64Array.from({ length: n }, (_, i) => scale.vectors[n * i + e]);
    if (scale.values[e] > 1e-14 * largest) kept.push(v.map((x) => x / Math.sqrt(scale.values[e])));
    else free.push(v);
  }
  const m = kept.length;
  const relative = Float64Array.from({ length: m * m }, (_, e) => {
    const [a, b] = [kept[Math.floor(e / m)] as Float64Array, kept[e % m] as Float64Array];
    let sum = 0;
    for (let i = 0; i < n; i++) for (let j = 0; j < n; j++) sum += a[i] * whole[n * i + j] * b[j];
    return sum;
  });
  if (m > 0) {
    const own = symmetricEigen(relative, m);
    for (let e = 0; e < m; e++) {
      if (own.values[e] > FREE_SHARE) continue;
      const v = new Float64Array(n);
      kept.forEach((k, a) => {
        for (let i = 0; i < n; i++) v[i] += own.vectors[m * a + e] * k[i];
      });
      free.push(v);
    }
  }
  return free;
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
