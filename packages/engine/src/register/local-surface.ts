import { fitLocalQuadric } from './local-quadric.ts';
import type { PreparedScan } from './prepared-scan.ts';
import { scanPointIndex } from './scan-point-index.ts';

/** Numbers kept a patch: axes u v w (9), coefficients (6). */
const STRIDE = 15;
const CHUNK = 2048;
const MAX_NEIGHBOURS = 256;
/** Offset of the weighted mean of the neighbours, in units of the reach, above which a place is at the edge of the data. */
const ONE_SIDED = 0.3;

/**
 * The surface of a scan around given places: one quadric height field each.
 *
 * Frames   the scan's stored coordinates (relative to its origin). Height 0 and u = v = 0 at the place itself.
 */
export interface LocalSurfaces {
  readonly count: number;
  /** 1 where the scan has a surface all round the place. */
  readonly usable: Uint8Array;
  /** Places, xyz. */
  readonly places: Float64Array;
  readonly patches: Float64Array;
  /** Root mean square residual of the neighbours, mm. */
  readonly roughness: Float64Array;
  /** Distance to the farthest neighbour used, mm. */
  readonly reach: Float64Array;
}

/**
 * Points in the neighbourhood of a local surface of a scan: 16 where the noise is small against the spacing, so that small
 * shapes stay, up to 36 where it is a tenth of it, so that the noise averages out.
 */
function surfaceNeighbourCount(scan: Pick<PreparedScan, 'noise' | 'spacing'>): number {
  const ratio = scan.spacing > 0 ? scan.noise / scan.spacing : 0;
  return Math.round(Math.min(36, 16 + 230 * ratio));
}

/**
 * Fits the surface of a scan around places near it, by moving least squares.
 *
 * Method   quadric height field over the k nearest points, weighted (1 - d^2 / reach^2)^2 so that points enter and leave
 *          smoothly (Levin 1998; Alexa 2003). A quadric through all the points around has no bias from curvature or from
 *          uneven sampling, which a plane at the nearest point has; and the noise of its slope is not correlated with that
 *          of its height, so the pose has no bias either.
 *          Points whose normal turns away from the given one by more than 72 deg belong to another face and are left out.
 *
 * @param places xyz, in the scan's stored coordinates
 * @param normals expected unit normals at the places, xyz
 * @param signed whether the sign of both kinds of normals is known
 * @param neighbourCount k; 0: `surfaceNeighbourCount` of the scan
 * @param maxDistance places farther from every point are not usable, mm
 */
export function fitLocalSurfaces(
  scan: PreparedScan,
  places: Float64Array,
  normals: Float64Array,
  signed: boolean,
  neighbourCount: number,
  maxDistance: number,
): LocalSurfaces {
  const index = scanPointIndex(scan);
  const count = places.length / 3;
  const wanted = neighbourCount > 0 ? Math.min(neighbourCount, MAX_NEIGHBOURS) : surfaceNeighbourCount(scan);
  const k = Math.min(wanted, scan.positions.length / 3);
  const usable = new Uint8Array(count);
  const patches = new Float64Array(STRIDE * count);
  const roughness = new Float64Array(count);
  const reach = new Float64Array(count);
  const near = placesNear(scan, places, maxDistance);
  const queries = new Float32Array(3 * CHUNK);
  const found = new Int32Array(CHUNK * k);
  const squared = new Float32Array(CHUNK * k);
  for (let from = 0; from < near.length; from += CHUNK) {
    const to = Math.min(near.length, from + CHUNK);
    for (let q = from; q < to; q++) {
      const at = 3 * near[q];
      queries.set(places.subarray(at, at + 3), 3 * (q - from));
    }
    const size = (to - from) * k;
    index.kNearest(queries.subarray(0, 3 * (to - from)), k, found.subarray(0, size), squared.subarray(0, size));
    for (let q = from; q < to; q++) {
      const i = near[q];
      if (fitOne(scan, places, normals, signed, i, found, (q - from) * k, k, patches, roughness, reach)) usable[i] = 1;
    }
  }
  return { count, usable, places, patches, roughness, reach };
}

/** Numbers of the places with a point of the scan within the distance: searching k neighbours of the others is the dearest. */
function placesNear(scan: PreparedScan, places: Float64Array, maxDistance: number): Uint32Array {
  const count = places.length / 3;
  const near = new Uint32Array(count);
  if (maxDistance === Infinity) {
    for (let i = 0; i < count; i++) near[i] = i;
    return near;
  }
  const found = new Int32Array(count);
  const squared = new Float32Array(count);
  scanPointIndex(scan).nearest(Float32Array.from(places), maxDistance, found, squared);
  let nearCount = 0;
  for (let i = 0; i < count; i++) if (found[i] >= 0) near[nearCount++] = i;
  return near.subarray(0, nearCount);
}

const local: Float64Array = new Float64Array(3 * MAX_NEIGHBOURS);
const weights: Float64Array = new Float64Array(MAX_NEIGHBOURS);
const coefficients: Float64Array = new Float64Array(6);

function fitOne(
  scan: PreparedScan,
  places: Float64Array,
  normals: Float64Array,
  signed: boolean,
  i: number,
  found: Int32Array,
  row: number,
  k: number,
  patches: Float64Array,
  roughness: Float64Array,
  reach: Float64Array,
): boolean {
  const px = places[3 * i];
  const py = places[3 * i + 1];
  const pz = places[3 * i + 2];
  const ex = normals[3 * i];
  const ey = normals[3 * i + 1];
  const ez = normals[3 * i + 2];
  const points = scan.positions;
  const pointNormals = scan.normals;
  // Axis w: mean of the neighbours' normals on the expected side.
  let wx = 0;
  let wy = 0;
  let wz = 0;
  let n = 0;
  for (let j = 0; j < k; j++) {
    const at = 3 * found[row + j];
    if (at < 0) break;
    const nx = pointNormals[at];
    const ny = pointNormals[at + 1];
    const nz = pointNormals[at + 2];
    const along = nx * ex + ny * ey + nz * ez;
    if (signed ? along < 0.3 : Math.abs(along) < 0.3) continue;
    const s = along < 0 ? -1 : 1;
    wx += s * nx;
    wy += s * ny;
    wz += s * nz;
    local[3 * n] = points[at] - px;
    local[3 * n + 1] = points[at + 1] - py;
    local[3 * n + 2] = points[at + 2] - pz;
    n++;
  }
  if (n < 10) return false;
  const length = Math.sqrt(wx * wx + wy * wy + wz * wz);
  if (!(length > 0.5 * n)) return false;
  wx /= length;
  wy /= length;
  wz /= length;
  let ux = 0;
  let uy = -wz;
  let uz = wy;
  if (Math.abs(wx) >= 0.6) [ux, uy, uz] = [wz, 0, -wx];
  const inverse = 1 / Math.sqrt(ux * ux + uy * uy + uz * uz);
  ux *= inverse;
  uy *= inverse;
  uz *= inverse;
  const vx = wy * uz - wz * uy;
  const vy = wz * ux - wx * uz;
  const vz = wx * uy - wy * ux;
  // Reach along the surface: the place may lie off it.
  let far = 0;
  for (let j = 0; j < n; j++) {
    const x = local[3 * j];
    const y = local[3 * j + 1];
    const z = local[3 * j + 2];
    const u = x * ux + y * uy + z * uz;
    const v = x * vx + y * vy + z * vz;
    local[3 * j] = u;
    local[3 * j + 1] = v;
    local[3 * j + 2] = x * wx + y * wy + z * wz;
    const d = u * u + v * v;
    if (d > far) far = d;
  }
  if (!(far > 0)) return false;
  const size = Math.sqrt(far);
  const scale = 1 / size;
  let sum = 0;
  let mu = 0;
  let mv = 0;
  for (let j = 0; j < n; j++) {
    const u = local[3 * j] * scale;
    const v = local[3 * j + 1] * scale;
    local[3 * j] = u;
    local[3 * j + 1] = v;
    const fall = 1 - (u * u + v * v) * 0.9;
    const weight = fall * fall;
    weights[j] = weight;
    sum += weight;
    mu += weight * u;
    mv += weight * v;
  }
  if (mu * mu + mv * mv > ONE_SIDED * ONE_SIDED * sum * sum) return false;
  const squares = fitLocalQuadric(local, weights, n, coefficients);
  if (squares < 0) return false;
  roughness[i] = Math.sqrt(squares / sum);
  reach[i] = size;
  const out = STRIDE * i;
  patches[out] = ux;
  patches[out + 1] = uy;
  patches[out + 2] = uz;
  patches[out + 3] = vx;
  patches[out + 4] = vy;
  patches[out + 5] = vz;
  patches[out + 6] = wx;
  patches[out + 7] = wy;
  patches[out + 8] = wz;
  patches[out + 9] = coefficients[0];
  patches[out + 10] = coefficients[1] * scale;
  patches[out + 11] = coefficients[2] * scale;
  patches[out + 12] = coefficients[3] * scale * scale;
  patches[out + 13] = coefficients[4] * scale * scale;
  patches[out + 14] = coefficients[5] * scale * scale;
  return true;
}

/**
 * Signed distance of a point near patch `i` from the surface, and the surface normal there.
 *
 * Method   first-order distance f / |grad f|: the point lies within a fraction of the patch from the surface.
 *
 * @param out distance, then normal xyz
 */
export function distanceToSurface(
  surfaces: LocalSurfaces,
  i: number,
  x: number,
  y: number,
  z: number,
  out: Float64Array,
): void {
  const { places, patches } = surfaces;
  const dx = x - places[3 * i];
  const dy = y - places[3 * i + 1];
  const dz = z - places[3 * i + 2];
  const at = STRIDE * i;
  const u = dx * patches[at] + dy * patches[at + 1] + dz * patches[at + 2];
  const v = dx * patches[at + 3] + dy * patches[at + 4] + dz * patches[at + 5];
  const w = dx * patches[at + 6] + dy * patches[at + 7] + dz * patches[at + 8];
  const c3 = patches[at + 12];
  const c4 = patches[at + 13];
  const c5 = patches[at + 14];
  const height = patches[at + 9] + patches[at + 10] * u + patches[at + 11] * v + c3 * u * u + c4 * u * v + c5 * v * v;
  const fu = patches[at + 10] + 2 * c3 * u + c4 * v;
  const fv = patches[at + 11] + c4 * u + 2 * c5 * v;
  const inverse = 1 / Math.sqrt(1 + fu * fu + fv * fv);
  out[0] = (w - height) * inverse;
  out[1] = (patches[at + 6] - fu * patches[at] - fv * patches[at + 3]) * inverse;
  out[2] = (patches[at + 7] - fu * patches[at + 1] - fv * patches[at + 4]) * inverse;
  out[3] = (patches[at + 8] - fu * patches[at + 2] - fv * patches[at + 5]) * inverse;
}
