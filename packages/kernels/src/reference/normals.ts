import { requireNeighbourCount, tripleCount } from '../check-buffers.ts';
import type { EstimatedNormals, PointIndex } from '../point-index.ts';
import { buildPointIndex } from './point-index.ts';
import { smallestEigenvector } from './smallest-eigenvector.ts';

const CHUNK = 4096;

/**
 * Normals by principal components of the k nearest neighbours, the point itself among them.
 *
 * Method   covariance of the neighbours in float64 relative to the point (Hoppe et al. 1992; surface variation by Pauly,
 *          Gross & Kobbelt 2002), smallest eigenvector.
 * Limits   the sign is arbitrary; 0 0 0 where fewer than three neighbours exist or they span no plane.
 *
 * @param index an index built from the same positions; one is built when absent
 */
export function estimateNormals(positions: Float32Array, k: number, index?: PointIndex): EstimatedNormals {
  const count = tripleCount(positions, 'positions');
  requireNeighbourCount(k);
  const tree = index ?? buildPointIndex(positions);
  const normals = new Float32Array(3 * count);
  const variation = new Float32Array(count);
  const neighbours = new Int32Array(CHUNK * k);
  const distances = new Float32Array(CHUNK * k);
  const result = new Float64Array(4);
  for (let start = 0; start < count; start += CHUNK) {
    const end = Math.min(count, start + CHUNK);
    tree.kNearest(positions.subarray(3 * start, 3 * end), k, neighbours, distances);
    for (let i = start; i < end; i++) {
      normalOfNeighbours(positions, i, neighbours, (i - start) * k, k, result);
      normals[3 * i] = result[0];
      normals[3 * i + 1] = result[1];
      normals[3 * i + 2] = result[2];
      variation[i] = result[3];
    }
  }
  if (!index) tree.dispose();
  return { normals, variation };
}

function normalOfNeighbours(
  positions: Float32Array,
  point: number,
  neighbours: Int32Array,
  first: number,
  k: number,
  out: Float64Array,
): void {
  let n = 0;
  let [x, y, z, xx, xy, xz, yy, yz, zz] = [0, 0, 0, 0, 0, 0, 0, 0, 0];
  for (let j = first; j < first + k && neighbours[j] >= 0; j++) {
    const at = 3 * neighbours[j];
    const dx = positions[at] - positions[3 * point];
    const dy = positions[at + 1] - positions[3 * point + 1];
    const dz = positions[at + 2] - positions[3 * point + 2];
    n++;
    x += dx;
    y += dy;
    z += dz;
    xx += dx * dx;
    xy += dx * dy;
    xz += dx * dz;
    yy += dy * dy;
    yz += dy * dz;
    zz += dz * dz;
  }
  out.fill(0);
  if (n < 3) return;
  const mx = x / n;
  const my = y / n;
  const mz = z / n;
  smallestEigenvector(xx - x * mx, xy - x * my, xz - x * mz, yy - y * my, yz - y * mz, zz - z * mz, out);
}
