import { type Matrix3, subtract, symmetricEigen, type Vec3 } from '../math/index.ts';
import type { JointCovariance } from '../model/index.ts';
import { largestEigenvalue3, propagate } from './point-covariance.ts';

/** Coverage factor of stated uncertainties (JCGM 100). */
const COVERAGE = 2;

/** A point that a frame carries; its place in the job, mm. */
export interface FramePoint {
  readonly frame: string;
  readonly point: Vec3;
}

/** Uncertainty of one point, mm. */
export interface PointUncertainty {
  /** 3 x 3 row-major, mm^2, in the axes of the job. */
  readonly covariance: Matrix3;
  /** Of the ellipsoid at k = 2, longest first, with unit directions in the job. */
  readonly semiAxes: readonly { readonly length: number; readonly direction: Vec3 }[];
  readonly largestSemiAxis: number;
}

/** A distance with its uncertainty, mm. */
export interface DistanceUncertainty {
  readonly distance: number;
  /** Standard uncertainty. */
  readonly standard: number;
  /** At k = 2. */
  readonly expanded: number;
}

/** Where a frame stands in the state: its six rows, then for each term its row and coefficient. */
interface FrameRows {
  readonly first: number;
  readonly reference: Vec3;
  readonly terms: readonly { readonly row: number; readonly coefficient: number }[];
}

function rowsOf(joint: JointCovariance, frame: string): FrameRows | null {
  const i = joint.frames.findIndex((f) => f.frame === frame);
  const own = joint.frames[i];
  if (!own) return null;
  const terms = joint.terms.flatMap((t, k) => {
    const coefficient = t.coefficients[i] as number;
    return coefficient === 0 ? [] : [{ row: 6 * joint.frames.length + k, coefficient }];
  });
  return { first: 6 * i, reference: own.reference, terms };
}

/** Rows of the state that a point depends on, and its change with them (3 numbers each): p = t + r x arm - s arm. */
function dependence(rows: FrameRows, point: Vec3): { row: number; change: Vec3 }[] {
  const [x, y, z] = subtract(point, rows.reference);
  const turns: Vec3[] = [
    [1, 0, 0],
    [0, 1, 0],
    [0, 0, 1],
    [0, -z, y],
    [z, 0, -x],
    [-y, x, 0],
  ];
  return [
    ...turns.map((change, k) => ({ row: rows.first + k, change })),
    ...rows.terms.map(({ row, coefficient: c }) => ({ row, change: [-c * x, -c * y, -c * z] as Vec3 })),
  ];
}

/**
 * Covariance of several points together, from the poses and scales of their frames: what any derived number needs.
 *
 * Frames   points in the job, mm; result in the axes of the job.
 * Method   law of propagation, J C J^T (JCGM 100, 5.2.2); correlations between frames kept.
 *
 * @returns 3n x 3n row-major, mm^2; null when a frame is not in the joint covariance
 */
export function jointPointCovariance(joint: JointCovariance, points: readonly FramePoint[]): Float64Array | null {
  const n = 6 * joint.frames.length + joint.terms.length;
  const size = 3 * points.length;
  const depend: { row: number; change: Vec3 }[][] = [];
  for (const { frame, point } of points) {
    const rows = rowsOf(joint, frame);
    if (!rows) return null;
    depend.push(dependence(rows, point));
  }
  const out = new Float64Array(size * size);
  depend.forEach((own, i) => {
    depend.forEach((other, j) => {
      for (const p of own) {
        for (const q of other) {
          const c = joint.matrix[p.row * n + q.row];
          if (c === 0) continue;
          for (let a = 0; a < 3; a++)
            for (let b = 0; b < 3; b++)
              out[(3 * i + a) * size + 3 * j + b] += (p.change[a] as number) * c * (q.change[b] as number);
        }
      }
    });
  });
  return out;
}

/**
 * Uncertainty of one point of a frame: what the frame's pose and scale do there (the lever arm), and the point's own.
 *
 * Frames   point in the job, mm; result in the axes of the job.
 *
 * @param options.own covariance of the point itself, 3 x 3 row-major, mm^2, in the axes of the job: its measurement, its fit
 * @returns null when the frame is not in the joint covariance
 */
export function pointUncertainty(
  joint: JointCovariance,
  frame: string,
  point: Vec3,
  options: { readonly own?: ArrayLike<number> } = {},
): PointUncertainty | null {
  const fromPose = jointPointCovariance(joint, [{ frame, point }]);
  if (!fromPose) return null;
  const { own } = options;
  const covariance = Array.from(
    { length: 9 },
    (_, k) => (fromPose[k] + fromPose[(k % 3) * 3 + Math.floor(k / 3)]) / 2 + (own ? (own[k] as number) : 0),
  ) as unknown as Matrix3;
  const { values, vectors } = symmetricEigen(covariance, 3);
  const semiAxes = [2, 1, 0].map((e) => ({
    length: COVERAGE * Math.sqrt(Math.max(0, values[e])),
    direction: [vectors[e], vectors[3 + e], vectors[6 + e]] as unknown as Vec3,
  }));
  return { covariance, semiAxes, largestSemiAxis: (semiAxes[0] as (typeof semiAxes)[number]).length };
}

/**
 * Uncertainty of the distance between two points of frames: what both frames have in common cancels, and within one frame only
 * its scale stays.
 *
 * Frames   points in the job, mm.
 *
 * @param options.ownA covariance of the first point itself, 3 x 3 row-major, mm^2, in the axes of the job; `ownB` of the second
 * @returns null when a frame is not in the joint covariance; for points on one another the largest uncertainty of their offset
 */
export function distanceUncertainty(
  joint: JointCovariance,
  a: FramePoint,
  b: FramePoint,
  options: { readonly ownA?: ArrayLike<number>; readonly ownB?: ArrayLike<number> } = {},
): DistanceUncertainty | null {
  const both = jointPointCovariance(joint, [a, b]);
  if (!both) return null;
  const { ownA, ownB } = options;
  const c = Array.from({ length: 9 }, (_, k) => {
    const [i, j] = [Math.floor(k / 3), k % 3];
    const at = (r: number, s: number): number => both[6 * r + s];
    const own = (ownA ? (ownA[k] as number) : 0) + (ownB ? (ownB[k] as number) : 0);
    return at(i, j) + at(3 + i, 3 + j) - at(i, 3 + j) - at(3 + i, j) + own;
  });
  const d = subtract(b.point, a.point);
  const distance = Math.hypot(...d);
  let variance = 0;
  if (distance > 0) {
    for (let k = 0; k < 9; k++)
      variance += (((d[Math.floor(k / 3)] as number) / distance) * (c[k] as number) * (d[k % 3] as number)) / distance;
  } else variance = largestEigenvalue3(c as unknown as Matrix3);
  const standard = Math.sqrt(Math.max(0, variance));
  return { distance, standard, expanded: COVERAGE * standard };
}

/**
 * Largest semi-axis at k = 2 for many points of one frame, mm: the number on the map.
 *
 * Cost     millions of points a second.
 *
 * @param positions xyz interleaved, relative to `origin`, in the job
 * @returns one number a point; null when the frame is not in the joint covariance
 */
export function pointUncertaintiesOf(
  joint: JointCovariance,
  frame: string,
  positions: Float32Array,
  origin: Vec3,
): Float32Array | null {
  const rows = rowsOf(joint, frame);
  if (!rows) return null;
  const n = 6 * joint.frames.length + joint.terms.length;
  const pose = Array.from(
    { length: 36 },
    (_, k) => joint.matrix[(rows.first + Math.floor(k / 6)) * n + rows.first + (k % 6)],
  );
  // All terms act on one frame as one scale.
  const withScale = new Float64Array(6);
  let scaleVariance = 0;
  for (const { row, coefficient } of rows.terms) {
    for (let k = 0; k < 6; k++) withScale[k] += coefficient * joint.matrix[(rows.first + k) * n + row];
    for (const other of rows.terms)
      scaleVariance += coefficient * other.coefficient * joint.matrix[row * n + other.row];
  }
  const [t0, t1, t2, r0, r1, r2] = withScale as unknown as [number, number, number, number, number, number];
  const count = positions.length / 3;
  const out = new Float32Array(count);
  for (let i = 0; i < count; i++) {
    const px = origin[0] + positions[3 * i];
    const py = origin[1] + positions[3 * i + 1];
    const pz = origin[2] + positions[3 * i + 2];
    const m = propagate(pose, rows.reference, px, py, pz);
    let value: number;
    if (rows.terms.length === 0) value = largestEigenvalue3(m);
    else {
      const x = px - rows.reference[0];
      const y = py - rows.reference[1];
      const z = pz - rows.reference[2];
      // Covariance of the moved point with the scale: t + r x arm.
      const cx = t0 + r1 * z - r2 * y;
      const cy = t1 + r2 * x - r0 * z;
      const cz = t2 + r0 * y - r1 * x;
      const v = scaleVariance;
      const xy = m[1] - cx * y - cy * x + v * x * y;
      const xz = m[2] - cx * z - cz * x + v * x * z;
      const yz = m[5] - cy * z - cz * y + v * y * z;
      value = largestEigenvalue3([
        m[0] - 2 * cx * x + v * x * x,
        xy,
        xz,
        xy,
        m[4] - 2 * cy * y + v * y * y,
        yz,
        xz,
        yz,
        m[8] - 2 * cz * z + v * z * z,
      ]);
    }
    out[i] = COVERAGE * Math.sqrt(Math.max(0, value));
  }
  return out;
}
