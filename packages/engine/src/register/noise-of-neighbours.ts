import type { PointIndex } from '../geometry/index.ts';
import { fitLocalQuadric, QUADRIC_TERMS } from './local-quadric.ts';
import { smallestEigenvector3 } from './plane-of-neighbours.ts';

/** Points in each neighbourhood: enough redundancy over the six coefficients, still small against the shape. */
const NEIGHBOURS = 30;
/** Neighbourhoods looked at: the median of this many is known to about 2 %. */
const SAMPLES = 2000;

/**
 * Estimates the standard deviation of the points along the surface normal.
 *
 * Method   variance of the residuals of a quadric fitted to 30 neighbours, divided by the degrees of freedom (30 - 6), at
 *          2000 places spread along the canonical order; of these the median, so that edges and curved spots do not count
 *          (robust scale as in Rousseeuw & Croux 1993), corrected for the median of chi-square against its mean.
 * Limits   noise that is equal over a whole neighbourhood is taken for shape and not seen.
 *
 * @returns mm; 0 where there are too few points
 */
export function estimateNoise(positions: Float32Array, index: PointIndex): number {
  const pointCount = positions.length / 3;
  const k = Math.min(NEIGHBOURS, pointCount);
  const redundancy = k - QUADRIC_TERMS;
  if (redundancy < 4) return 0;
  const sampleCount = Math.min(SAMPLES, pointCount);
  const queries = new Float32Array(3 * sampleCount);
  for (let s = 0; s < sampleCount; s++) {
    const i = Math.floor(((s + 0.5) * pointCount) / sampleCount);
    queries.set(positions.subarray(3 * i, 3 * i + 3), 3 * s);
  }
  const found = new Int32Array(sampleCount * k);
  const squared = new Float32Array(sampleCount * k);
  index.kNearest(queries, k, found, squared);
  const local = new Float64Array(3 * k);
  const weights = new Float64Array(k).fill(1);
  const coefficients = new Float64Array(QUADRIC_TERMS);
  const normal = new Float64Array(3);
  const variances = new Float64Array(sampleCount);
  let count = 0;
  for (let s = 0; s < sampleCount; s++) {
    const reach = Math.sqrt(squared[s * k + k - 1]);
    if (!(reach > 0 && Number.isFinite(reach))) continue;
    fillLocal(positions, found.subarray(s * k, s * k + k), queries.subarray(3 * s, 3 * s + 3), reach, normal, local);
    const squares = fitLocalQuadric(local, weights, k, coefficients);
    if (squares >= 0) variances[count++] = (squares * reach * reach) / redundancy;
  }
  if (count === 0) return 0;
  const sorted = variances.subarray(0, count).sort();
  const median = (sorted[(count - 1) >> 1] + sorted[count >> 1]) / 2;
  // Median of chi-square over its degrees of freedom (Wilson & Hilferty 1931).
  const medianShare = (1 - 2 / (9 * redundancy)) ** 3;
  return Math.sqrt(median / medianShare);
}

/** Offsets of neighbours in units of `reach`, in axes whose third is the normal of their best plane. */
function fillLocal(
  positions: Float32Array,
  neighbours: Int32Array,
  centre: Float32Array,
  reach: number,
  normal: Float64Array,
  local: Float64Array,
): void {
  const k = neighbours.length;
  let mx = 0;
  let my = 0;
  let mz = 0;
  for (let j = 0; j < k; j++) {
    const at = 3 * neighbours[j];
    local[3 * j] = (positions[at] - centre[0]) / reach;
    local[3 * j + 1] = (positions[at + 1] - centre[1]) / reach;
    local[3 * j + 2] = (positions[at + 2] - centre[2]) / reach;
    mx += local[3 * j] / k;
    my += local[3 * j + 1] / k;
    mz += local[3 * j + 2] / k;
  }
  let xx = 0;
  let xy = 0;
  let xz = 0;
  let yy = 0;
  let yz = 0;
  let zz = 0;
  for (let j = 0; j < k; j++) {
    const x = local[3 * j] - mx;
    const y = local[3 * j + 1] - my;
    const z = local[3 * j + 2] - mz;
    xx += x * x;
    xy += x * y;
    xz += x * z;
    yy += y * y;
    yz += y * z;
    zz += z * z;
  }
  smallestEigenvector3(xx, xy, xz, yy, yz, zz, normal);
  const [nx, ny, nz] = normal;
  // A first axis across the normal; which one does not matter for the residuals.
  let [ux, uy, uz] = Math.abs(nx) < 0.6 ? [0, -nz, ny] : [nz, 0, -nx];
  const length = Math.hypot(ux, uy, uz);
  ux /= length;
  uy /= length;
  uz /= length;
  const vx = ny * uz - nz * uy;
  const vy = nz * ux - nx * uz;
  const vz = nx * uy - ny * ux;
  for (let j = 0; j < k; j++) {
    const x = local[3 * j];
    const y = local[3 * j + 1];
    const z = local[3 * j + 2];
    local[3 * j] = x * ux + y * uy + z * uz;
    local[3 * j + 1] = x * vx + y * vy + z * vz;
    local[3 * j + 2] = x * nx + y * ny + z * nz;
  }
}
