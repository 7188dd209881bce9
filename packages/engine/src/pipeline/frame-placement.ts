import type { Vec3 } from '../math/index.ts';
import type { JointCovariance } from '../model/index.ts';

/**
 * How uncertain a frame's place is, scale included, without the other frames: small enough to go to a worker, quick enough for
 * every vertex.
 *
 * Covariance   7 x 7 row-major of a shift, a rotation and a stretch (tx ty tz rx ry rz s; mm, rad, 1) about `reference`: a point at
 *              p moves by t + r x (p - reference) - s (p - reference), all in the job's frame.
 */
export interface FramePlacement {
  readonly reference: Vec3;
  readonly covariance: readonly number[];
}

const SIDE = 7;

/** Placement of one frame out of the joint covariance; null when the frame is not in it. */
export function framePlacement(joint: JointCovariance, frame: string): FramePlacement | null {
  const f = joint.frames.findIndex((item) => item.frame === frame);
  if (f < 0) return null;
  const frameSide = 6 * joint.frames.length;
  const full = frameSide + joint.terms.length;
  // Rows that pick the frame's six numbers, and the stretch as the sum of the terms.
  const picks: (readonly (readonly [number, number])[])[] = Array.from({ length: 6 }, (_, k) => [[6 * f + k, 1]]);
  picks.push(joint.terms.map((term, k) => [frameSide + k, term.coefficients[f]]));
  const covariance = picks.flatMap((row) =>
    picks.map((column) => {
      let sum = 0;
      for (const [i, a] of row) for (const [j, b] of column) sum += a * b * joint.matrix[i * full + j];
      return sum;
    }),
  );
  return { reference: joint.frames[f].reference, covariance };
}

/**
 * Standard uncertainty of places that a frame carries, in their most uncertain direction, mm.
 *
 * Method   J C J^T with J = [I, -[arm]x, -arm] (law of propagation, JCGM 100, 5.1.2); largest eigenvalue in closed form
 *          (Smith 1961).
 *
 * @param positions xyz interleaved, relative to `origin`, in the job's frame
 */
export function placementSigmas(placement: FramePlacement, positions: ArrayLike<number>, origin: Vec3): Float32Array {
  const { reference, covariance: c } = placement;
  const count = positions.length / 3;
  const out = new Float32Array(count);
  const half = new Float64Array(3 * SIDE);
  for (let i = 0; i < count; i++) {
    const x = origin[0] + positions[3 * i] - reference[0];
    const y = origin[1] + positions[3 * i + 1] - reference[1];
    const z = origin[2] + positions[3 * i + 2] - reference[2];
    for (let k = 0; k < SIDE; k++) {
      const s = c[42 + k];
      half[k] = c[k] + c[28 + k] * z - c[35 + k] * y - s * x;
      half[SIDE + k] = c[SIDE + k] + c[35 + k] * x - c[21 + k] * z - s * y;
      half[2 * SIDE + k] = c[2 * SIDE + k] + c[21 + k] * y - c[28 + k] * x - s * z;
    }
    const xx = half[0] + half[4] * z - half[5] * y - half[6] * x;
    const xy = half[1] + half[5] * x - half[3] * z - half[6] * y;
    const xz = half[2] + half[3] * y - half[4] * x - half[6] * z;
    const yy = half[8] + half[12] * x - half[10] * z - half[13] * y;
    const yz = half[9] + half[10] * y - half[11] * x - half[13] * z;
    const zz = half[16] + half[17] * y - half[18] * x - half[20] * z;
    out[i] = Math.sqrt(Math.max(0, largestEigenvalue(xx, xy, xz, yy, yz, zz)));
  }
  return out;
}

/** Largest eigenvalue of a symmetric 3 x 3 matrix (Smith 1961); good to 1e-14 of itself. */
function largestEigenvalue(xx: number, xy: number, xz: number, yy: number, yz: number, zz: number): number {
  const mean = (xx + yy + zz) / 3;
  const [a, b, c] = [xx - mean, yy - mean, zz - mean];
  const square = (a * a + b * b + c * c + 2 * (xy * xy + xz * xz + yz * yz)) / 6;
  if (!(square > 0)) return mean;
  const p = Math.sqrt(square);
  const determinant = a * (b * c - yz * yz) - xy * (xy * c - yz * xz) + xz * (xy * yz - b * xz);
  const cosine = Math.max(-1, Math.min(1, determinant / (2 * p * p * p)));
  return mean + 2 * p * Math.cos(Math.acos(cosine) / 3);
}
