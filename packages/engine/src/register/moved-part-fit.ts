import { fitLocalQuadric } from './local-quadric.ts';
import type { PreparedScan } from './prepared-scan.ts';
import { scanPointIndex } from './scan-point-index.ts';

const NEIGHBOURS = 20;
/** Farthest nearest point, in spacings: beyond, a surface continued from there says nothing. */
const FARTHEST = 4;

/** How places lie to the surface of a scan that may end there. */
export interface SurfaceFit {
  /** Distance from the surface, continued beyond its edge where need be, mm; NaN where none is near. */
  readonly distances: Float64Array;
  /** Distance, along the surface, from the place to the middle of its neighbours, mm: small inside the surface, large beyond its edge. */
  readonly offsets: Float64Array;
  /** Root mean square residual of the neighbours, mm. */
  readonly roughness: Float64Array;
}

const local: Float64Array = new Float64Array(3 * NEIGHBOURS);
const weights: Float64Array = new Float64Array(NEIGHBOURS);
const coefficients: Float64Array = new Float64Array(6);

/**
 * Distances of places from a scan's surface up to and a little beyond its edges, which `fitLocalSurfaces` leaves out.
 *
 * Method   weighted quadric through the 20 nearest points of a compatible normal; the offset of their middle tells how far the
 *          place is from data all round.
 *
 * @param places xyz, stored coordinates of the scan
 * @param normals expected unit normals at the places
 */
export function fitToEdges(
  scan: PreparedScan,
  places: Float64Array,
  normals: Float64Array,
  signed: boolean,
  spacing: number,
): SurfaceFit {
  const count = places.length / 3;
  const distances = new Float64Array(count).fill(Number.NaN);
  const offsets = new Float64Array(count).fill(Number.NaN);
  const roughness = new Float64Array(count).fill(Number.NaN);
  const fit = { distances, offsets, roughness };
  const k = Math.min(NEIGHBOURS, scan.positions.length / 3);
  if (k < 8) return fit;
  const index = scanPointIndex(scan);
  const nearest = new Int32Array(count);
  const queries = Float32Array.from(places);
  index.nearest(queries, FARTHEST * spacing, nearest, new Float32Array(count));
  const near: number[] = [];
  for (let i = 0; i < count; i++) if (nearest[i] >= 0) near.push(i);
  const nearQueries = new Float32Array(3 * near.length);
  for (let q = 0; q < near.length; q++) nearQueries.set(queries.subarray(3 * near[q], 3 * near[q] + 3), 3 * q);
  const found = new Int32Array(near.length * k);
  index.kNearest(nearQueries, k, found, new Float32Array(near.length * k));
  for (let q = 0; q < near.length; q++) fitOne(scan, places, normals, signed, near[q], found, q * k, k, fit);
  return fit;
}

function fitOne(
  scan: PreparedScan,
  places: Float64Array,
  normals: Float64Array,
  signed: boolean,
  i: number,
  found: Int32Array,
  row: number,
  k: number,
  { distances, offsets, roughness }: SurfaceFit,
): void {
  const { positions, normals: own } = scan;
  let n = 0;
  let wx = 0;
  let wy = 0;
  let wz = 0;
  for (let j = 0; j < k; j++) {
    const at = 3 * found[row + j];
    if (at < 0) break;
    const along = own[at] * normals[3 * i] + own[at + 1] * normals[3 * i + 1] + own[at + 2] * normals[3 * i + 2];
    if (signed ? along < 0.3 : Math.abs(along) < 0.3) continue;
    const s = along < 0 ? -1 : 1;
    wx += s * own[at];
    wy += s * own[at + 1];
    wz += s * own[at + 2];
    for (let a = 0; a < 3; a++) local[3 * n + a] = positions[at + a] - places[3 * i + a];
    n++;
  }
  const length = Math.hypot(wx, wy, wz);
  if (n < 8 || !(length > 0.5 * n)) return;
  wx /= length;
  wy /= length;
  wz /= length;
  let [ux, uy, uz] = Math.abs(wx) < 0.6 ? [0, -wz, wy] : [wz, 0, -wx];
  const inverse = 1 / Math.hypot(ux, uy, uz);
  ux *= inverse;
  uy *= inverse;
  uz *= inverse;
  const vx = wy * uz - wz * uy;
  const vy = wz * ux - wx * uz;
  const vz = wx * uy - wy * ux;
  let mu = 0;
  let mv = 0;
  for (let j = 0; j < n; j++) {
    const [x, y, z] = [local[3 * j], local[3 * j + 1], local[3 * j + 2]];
    local[3 * j] = x * ux + y * uy + z * uz;
    local[3 * j + 1] = x * vx + y * vy + z * vz;
    local[3 * j + 2] = x * wx + y * wy + z * wz;
    mu += local[3 * j] / n;
    mv += local[3 * j + 1] / n;
  }
  // About the neighbours' middle, in units of their reach.
  let far = 0;
  for (let j = 0; j < n; j++) far = Math.max(far, Math.hypot(local[3 * j] - mu, local[3 * j + 1] - mv));
  if (!(far > 0)) return;
  for (let j = 0; j < n; j++) {
    local[3 * j] = (local[3 * j] - mu) / far;
    local[3 * j + 1] = (local[3 * j + 1] - mv) / far;
    weights[j] = 1;
  }
  const squares = fitLocalQuadric(local, weights, n, coefficients);
  if (squares < 0) return;
  const u = -mu / far;
  const v = -mv / far;
  const [c0, c1, c2, c3, c4, c5] = coefficients;
  // Beyond the edge only the slope is continued: curvature that the noise made would run away.
  const inside = Math.hypot(u, v);
  const t = inside > 1 ? 1 / inside : 1;
  const [pu, pv] = [u * t, v * t];
  const su = (c1 + 2 * c3 * pu + c4 * pv) / far;
  const sv = (c2 + c4 * pu + 2 * c5 * pv) / far;
  const height =
    c0 + c1 * pu + c2 * pv + c3 * pu * pu + c4 * pu * pv + c5 * pv * pv + far * (su * (u - pu) + sv * (v - pv));
  distances[i] = Math.abs(height) / Math.sqrt(1 + su * su + sv * sv);
  offsets[i] = Math.hypot(mu, mv);
  roughness[i] = Math.sqrt(squares / n);
}
