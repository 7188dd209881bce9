import { type Pose, rotationMatrix, type Vec3 } from '../math/index.ts';

/** Pairs that are summed together before the sums are added; fixed, so that any number of workers gives the same bits. */
export const PLANE_SUM_CHUNK = 4096;

/** Numbers of one chunk: 21 of the normal matrix, 6 of the gradient, sum of weights, sum of weighted squares. */
export const PLANE_SUM_LENGTH = 29;

/**
 * Matched points of two scans, each in its own frame's local coordinates.
 *
 * `sourceIndex[i]` and `targetIndex[i]` name the points of pair i; a pair with a negative index or weight 0 is skipped.
 */
export interface PlanePairs {
  readonly sourcePositions: Float32Array;
  /** Needed for the symmetric form only. */
  readonly sourceNormals?: Float32Array;
  readonly targetPositions: Float32Array;
  readonly targetNormals: Float32Array;
  readonly sourceIndex: Int32Array;
  readonly targetIndex: Int32Array;
  /** One per pair; all 1 when absent. */
  readonly weights?: Float64Array | Float32Array;
}

/** How the residual is measured. */
export interface PlaneSumOptions {
  /** Reference point of the perturbation, in target coordinates. */
  readonly reference: Vec3;
  /** `target`: the target's normal; `symmetric`: half the sum of both normals. */
  readonly form: 'target' | 'symmetric';
}

/** Weighted sums of one Gauss-Newton step. */
export interface PlaneSums {
  /** J' W J, 6 x 6, row-major, full; order tx ty tz rx ry rz. */
  readonly normalMatrix: Float64Array;
  /** J' W r; the step solves normalMatrix x = -gradient. */
  readonly gradient: Float64Array;
  readonly weightSum: number;
  /** Sum of w r^2, mm^2. */
  readonly squareSum: number;
}

/**
 * Sums of a point-to-plane step over matched pairs.
 *
 * Frames   `targetFromSource` maps the source's local coordinates to the target's local ones; the six unknowns are those
 *          of `perturb` about `options.reference`.
 * Method   `target`: r = nq . (p - q), J = [nq, (p - c) x nq] (Chen & Medioni 1992). `symmetric`: r = n . (p - q) with
 *          n = (np + nq) / 2 (Rusinkiewicz 2019), differentiated exactly with np turning along with the source:
 *          J = [n, ((p - c) x nq + (q - c) x np) / 2]. A source normal that points against the target's is reversed.
 * Repeats  float64, chunks of 4096 pairs added in order: same bits for any split of the chunks over workers.
 */
export function accumulatePointToPlane(pairs: PlanePairs, targetFromSource: Pose, options: PlaneSumOptions): PlaneSums {
  const chunks = Math.ceil(pairs.sourceIndex.length / PLANE_SUM_CHUNK);
  const sums = new Float64Array(chunks * PLANE_SUM_LENGTH);
  for (let chunk = 0; chunk < chunks; chunk++) {
    const out = sums.subarray(chunk * PLANE_SUM_LENGTH, (chunk + 1) * PLANE_SUM_LENGTH);
    accumulatePlaneChunk(pairs, chunk, targetFromSource, options, out);
  }
  return addPlaneChunks(sums);
}

/** Adds up the sums of consecutive chunks, as `accumulatePlaneChunk` leaves them. */
export function addPlaneChunks(chunkSums: Float64Array): PlaneSums {
  const total = new Float64Array(PLANE_SUM_LENGTH);
  for (let at = 0; at < chunkSums.length; at += PLANE_SUM_LENGTH) {
    for (let i = 0; i < PLANE_SUM_LENGTH; i++) total[i] += chunkSums[at + i];
  }
  const normalMatrix = new Float64Array(36);
  let at = 0;
  for (let i = 0; i < 6; i++) {
    for (let j = i; j < 6; j++) {
      normalMatrix[6 * i + j] = total[at];
      normalMatrix[6 * j + i] = total[at++];
    }
  }
  return { normalMatrix, gradient: total.slice(21, 27), weightSum: total[27], squareSum: total[28] };
}

/** Sums over one chunk of pairs: the unit of work to spread over workers. Writes `PLANE_SUM_LENGTH` numbers. */
export function accumulatePlaneChunk(
  pairs: PlanePairs,
  chunk: number,
  targetFromSource: Pose,
  options: PlaneSumOptions,
  out: Float64Array,
): void {
  const { sourcePositions, sourceNormals, targetPositions, targetNormals, sourceIndex, targetIndex, weights } = pairs;
  const symmetric = options.form === 'symmetric';
  if (symmetric && !sourceNormals) throw new RangeError('The symmetric form needs the normals of the source.');
  const [r0, r1, r2, r3, r4, r5, r6, r7, r8] = rotationMatrix(targetFromSource.rotation);
  const [tx, ty, tz] = targetFromSource.translation;
  const [ox, oy, oz] = options.reference;
  const j = new Float64Array(6);
  out.fill(0, 0, PLANE_SUM_LENGTH);
  const end = Math.min(sourceIndex.length, (chunk + 1) * PLANE_SUM_CHUNK);
  for (let i = chunk * PLANE_SUM_CHUNK; i < end; i++) {
    const w = weights ? weights[i] : 1;
    const s = 3 * sourceIndex[i];
    const t = 3 * targetIndex[i];
    if (s < 0 || t < 0 || w === 0) continue;
    const x = sourcePositions[s];
    const y = sourcePositions[s + 1];
    const z = sourcePositions[s + 2];
    const px = r0 * x + r1 * y + r2 * z + tx - ox;
    const py = r3 * x + r4 * y + r5 * z + ty - oy;
    const pz = r6 * x + r7 * y + r8 * z + tz - oz;
    const qx = targetPositions[t] - ox;
    const qy = targetPositions[t + 1] - oy;
    const qz = targetPositions[t + 2] - oz;
    let nx = targetNormals[t];
    let ny = targetNormals[t + 1];
    let nz = targetNormals[t + 2];
    j[3] = py * nz - pz * ny;
    j[4] = pz * nx - px * nz;
    j[5] = px * ny - py * nx;
    if (symmetric && sourceNormals) {
      const a = sourceNormals[s];
      const b = sourceNormals[s + 1];
      const c = sourceNormals[s + 2];
      let mx = r0 * a + r1 * b + r2 * c;
      let my = r3 * a + r4 * b + r5 * c;
      let mz = r6 * a + r7 * b + r8 * c;
      if (mx * nx + my * ny + mz * nz < 0) {
        mx = -mx;
        my = -my;
        mz = -mz;
      }
      j[3] = 0.5 * (j[3] + qy * mz - qz * my);
      j[4] = 0.5 * (j[4] + qz * mx - qx * mz);
      j[5] = 0.5 * (j[5] + qx * my - qy * mx);
      nx = 0.5 * (nx + mx);
      ny = 0.5 * (ny + my);
      nz = 0.5 * (nz + mz);
    }
    j[0] = nx;
    j[1] = ny;
    j[2] = nz;
    addObservation(j, nx * (px - qx) + ny * (py - qy) + nz * (pz - qz), w, out);
  }
}

function addObservation(j: Float64Array, residual: number, w: number, out: Float64Array): void {
  let at = 0;
  for (let a = 0; a < 6; a++) {
    const wa = w * j[a];
    for (let b = a; b < 6; b++) out[at++] += wa * j[b];
    out[21 + a] += wa * residual;
  }
  out[27] += w;
  out[28] += w * residual * residual;
}
