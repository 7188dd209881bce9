import type { RunContext } from '../base/index.ts';
import type { PointIndex } from '../geometry/index.ts';
import { smallestEigenvector3 } from './plane-of-neighbours.ts';

/** Queries a call of the index: long calls stay in slow code, and between calls a run can be stopped. */
const CHUNK = 4096;
/**
 * Empty sixteenths of the circle in a row that make a neighbourhood one-sided. At a straight edge six to eight are empty;
 * 16 random neighbours all round leave six in a row empty once in a hundred.
 */
const EMPTY_SIXTEENTHS = 6;
const TAN_SIXTEENTH: number = Math.SQRT2 - 1;

/** Best plane of each point's neighbours. */
export interface NeighbourhoodNormals {
  /** Unit; sign as `prior` says where given, else arbitrary. */
  readonly normals: Float32Array;
  /** 1 where the neighbourhood is one-sided. */
  readonly oneSided: Uint8Array;
  /** Distance to the nearest other point, mm; Infinity where there is none. */
  readonly nearest: Float32Array;
  /** The nearest `NEIGHBOURS_KEPT` other points of each point, -1 padded; null unless asked for. */
  readonly neighbours: Int32Array | null;
}

/** Neighbours kept for passing signs on. */
const NEIGHBOURS_KEPT = 8;

/**
 * Fits a plane to the k nearest neighbours of every point.
 *
 * Method   principal components of the offsets; a neighbour whose prior normal turns away by more than 72 deg is left out,
 *          so that the two faces of a sheet or an edge do not mix.
 *
 * @param k neighbours beside the point itself
 * @param prior unit normals known before (zero where not), or null
 * @param keepsNeighbours whether to return the nearest few
 */
export async function fitNeighbourhoodNormals(
  positions: Float32Array,
  k: number,
  prior: Float32Array | null,
  keepsNeighbours: boolean,
  index: PointIndex,
  context: RunContext,
): Promise<NeighbourhoodNormals> {
  const pointCount = positions.length / 3;
  const size = Math.min(k + 1, pointCount);
  const normals = new Float32Array(3 * pointCount);
  const oneSided = new Uint8Array(pointCount);
  const nearest = new Float32Array(pointCount).fill(Infinity);
  const neighbours = keepsNeighbours ? new Int32Array(NEIGHBOURS_KEPT * pointCount).fill(-1) : null;
  const found = new Int32Array(CHUNK * size);
  const squared = new Float32Array(CHUNK * size);
  for (let from = 0; from < pointCount; from += CHUNK) {
    const to = Math.min(pointCount, from + CHUNK);
    const part = (to - from) * size;
    index.kNearest(positions.subarray(3 * from, 3 * to), size, found.subarray(0, part), squared.subarray(0, part));
    fitChunk(positions, prior, from, to, size, found, normals, oneSided);
    if (neighbours !== null) keepNearest(found, size, from, to, neighbours);
    if (size > 1) for (let i = from; i < to; i++) nearest[i] = Math.sqrt(squared[(i - from) * size + 1]);
    await context.checkpoint(to / pointCount);
  }
  return { normals, oneSided, nearest, neighbours };
}

function keepNearest(found: Int32Array, size: number, from: number, to: number, out: Int32Array): void {
  const kept = Math.min(NEIGHBOURS_KEPT, size - 1);
  for (let i = from; i < to; i++) {
    for (let j = 0; j < kept; j++) out[NEIGHBOURS_KEPT * i + j] = found[(i - from) * size + j + 1];
  }
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
    if (n < 3) {
      normals[3 * i] = qx;
      normals[3 * i + 1] = qy;
      normals[3 * i + 2] = qz;
      if (qx === 0 && qy === 0 && qz === 0) normals[3 * i + 2] = 1;
      oneSided[i] = 1;
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
    // Neighbours evenly round need no closer look: at a straight edge their mean is off by a third of the reach or more.
    const shift2 = sx * sx + sy * sy + sz * sz;
    if (shift2 < 0.04 * 2 * n * (xx + yy + zz)) continue;
    if (isOneSided(positions, px, py, pz, found, (i - from) * size, size)) oneSided[i] = 1;
  }
}

/** Whether the neighbours, seen along `normal`, leave a side of the point empty. */
function isOneSided(
  positions: Float32Array,
  px: number,
  py: number,
  pz: number,
  found: Int32Array,
  row: number,
  size: number,
): boolean {
  const nx = normal[0];
  const ny = normal[1];
  const nz = normal[2];
  // Axes across the normal, not of unit length: only their directions count, and both have the same length.
  let ux = 0;
  let uy = -nz;
  let uz = ny;
  if (Math.abs(nx) >= 0.6) {
    ux = nz;
    uy = 0;
    uz = -nx;
  }
  const vx = ny * uz - nz * uy;
  const vy = nz * ux - nx * uz;
  const vz = nx * uy - ny * ux;
  let sixteenths = 0;
  for (let j = 0; j < size; j++) {
    const at = 3 * found[row + j];
    if (at < 0) break;
    const x = positions[at] - px;
    const y = positions[at + 1] - py;
    const z = positions[at + 2] - pz;
    const u = x * ux + y * uy + z * uz;
    const v = x * vx + y * vy + z * vz;
    if (u === 0 && v === 0) continue;
    const eighth = v >= 0 ? (u > 0 ? (v < u ? 0 : 1) : v > -u ? 2 : 3) : u < 0 ? (v > u ? 4 : 5) : -v > u ? 6 : 7;
    const au = Math.abs(u);
    const av = Math.abs(v);
    const isPastMiddle = Math.min(au, av) > TAN_SIXTEENTH * Math.max(au, av);
    sixteenths |= 1 << (2 * eighth + (isPastMiddle === ((eighth & 1) === 0) ? 1 : 0));
  }
  let empty = 0;
  for (let e = 0; e < 16 + EMPTY_SIXTEENTHS; e++) {
    empty = (sixteenths >> (e & 15)) & 1 ? 0 : empty + 1;
    if (empty >= EMPTY_SIXTEENTHS) return true;
  }
  return false;
}
