import type { RunContext } from '../base/index.ts';
import type { PointIndex } from '../geometry/index.ts';
import { smallestEigenvector3 } from './plane-of-neighbours.ts';

/** Queries a call of the index: long calls stay in slow code, and between calls a run can be stopped. */
const CHUNK = 4096;
/**
 * Offset of the neighbours' mean from the point, in units of the neighbourhood's radius, above which the neighbourhood is
 * one-sided. A half disk has 4 / (3 pi) = 0.42; 16 random neighbours all round pass 0.36 once in sixty.
 */
const ONE_SIDED = 0.36;

/** Best plane of each point's neighbours. */
export interface NeighbourhoodNormals {
  /** Unit; sign as `prior` says where given, else arbitrary. */
  readonly normals: Float32Array;
  /** 1 where the neighbourhood is one-sided. */
  readonly oneSided: Uint8Array;
  /** Distance to the nearest other point, mm; Infinity where there is none. */
  readonly nearest: Float32Array;
}

/**
 * Fits a plane to the k nearest neighbours of every point.
 *
 * Method   principal components of the offsets; a neighbour whose prior normal turns away by more than 72 deg is left out,
 *          so that the two faces of a sheet or an edge do not mix.
 *
 * @param k neighbours beside the point itself
 * @param prior unit normals known before (zero where not), or null
 */
export async function fitNeighbourhoodNormals(
  positions: Float32Array,
  k: number,
  prior: Float32Array | null,
  index: PointIndex,
  context: RunContext,
): Promise<NeighbourhoodNormals> {
  const pointCount = positions.length / 3;
  const size = Math.min(k + 1, pointCount);
  const normals = new Float32Array(3 * pointCount);
  const oneSided = new Uint8Array(pointCount);
  const nearest = new Float32Array(pointCount).fill(Infinity);
  const found = new Int32Array(CHUNK * size);
  const squared = new Float32Array(CHUNK * size);
  for (let from = 0; from < pointCount; from += CHUNK) {
    const to = Math.min(pointCount, from + CHUNK);
    const part = (to - from) * size;
    index.kNearest(positions.subarray(3 * from, 3 * to), size, found.subarray(0, part), squared.subarray(0, part));
    fitChunk(positions, prior, from, to, size, found, normals, oneSided);
    if (size > 1) for (let i = from; i < to; i++) nearest[i] = Math.sqrt(squared[(i - from) * size + 1]);
    await context.checkpoint(to / pointCount);
  }
  return { normals, oneSided, nearest };
}

const normal: Float64Array = new Float64Array(3);

function fitChunk(
  positions: Float32Array,
  prior: Float32Array | null,
  from: number,
  to: number,
  size: number,
  found: Int32Array,
  normals: Float32Array,
  oneSided: Uint8Array,
): void {
  for (let i = from; i < to; i++) {
    const px = positions[3 * i];
    const py = positions[3 * i + 1];
    const pz = positions[3 * i + 2];
    const qx = prior === null ? 0 : prior[3 * i];
    const qy = prior === null ? 0 : prior[3 * i + 1];
    const qz = prior === null ? 0 : prior[3 * i + 2];
    let n = 0;
    let sx = 0;
    let sy = 0;
    let sz = 0;
    let xx = 0;
    let xy = 0;
    let xz = 0;
    let yy = 0;
    let yz = 0;
    let zz = 0;
    for (let j = 0; j < size; j++) {
      const neighbour = found[(i - from) * size + j];
      if (neighbour < 0) break;
      const at = 3 * neighbour;
      if (prior !== null) {
        const along = prior[at] * qx + prior[at + 1] * qy + prior[at + 2] * qz;
        if (along < 0.3 && qx * qx + qy * qy + qz * qz > 0) continue;
      }
      const x = positions[at] - px;
      const y = positions[at + 1] - py;
      const z = positions[at + 2] - pz;
      n++;
      sx += x;
      sy += y;
      sz += z;
      xx += x * x;
      xy += x * y;
      xz += x * z;
      yy += y * y;
      yz += y * z;
      zz += z * z;
    }
    const second = xx + yy + zz;
    // A disk of radius R holds a mean square distance of R^2 / 2 from its centre.
    const reach = n > 0 ? Math.sqrt((2 * second) / n) : 0;
    if (n < 4 || Math.sqrt(sx * sx + sy * sy + sz * sz) > ONE_SIDED * reach * n) oneSided[i] = 1;
    if (n < 3) {
      normals[3 * i] = qx;
      normals[3 * i + 1] = qy;
      normals[3 * i + 2] = qz;
      if (qx === 0 && qy === 0 && qz === 0) normals[3 * i + 2] = 1;
      continue;
    }
    const m = 1 / n;
    smallestEigenvector3(
      xx - sx * sx * m,
      xy - sx * sy * m,
      xz - sx * sz * m,
      yy - sy * sy * m,
      yz - sy * sz * m,
      zz - sz * sz * m,
      normal,
    );
    const sign = normal[0] * qx + normal[1] * qy + normal[2] * qz < 0 ? -1 : 1;
    normals[3 * i] = sign * normal[0];
    normals[3 * i + 1] = sign * normal[1];
    normals[3 * i + 2] = sign * normal[2];
  }
}
