import { buildPointIndex } from '../geometry/index.ts';
import { rotationMatrix, type Vec3 } from '../math/index.ts';
import type { PosedScan } from './posed-scan.ts';

/** What the plan of a fusion needs to know of a scan. Plain data, mm, job frame. */
export interface FusionScanMeta {
  readonly id: string;
  readonly low: Vec3;
  readonly high: Vec3;
  /** Surface that the scan shows, mm^2; 0 when it shows none. */
  readonly area: number;
  /** Typical distance of neighbouring points, mm. */
  readonly spacing: number;
  readonly noise: number;
}

/** Neighbours that stand for one point's share of the surface. */
const AREA_NEIGHBOURS = 10;
const PROBE_POINTS = 2000;
/** Points of a cloud fall irregularly: surface is resolved to this many of their mean spacings. */
const CLOUD_SPACING = 1.3;

/**
 * Measures extent, area and point spacing of a scan.
 *
 * Method   mesh: sum of triangle areas, median edge length. Cloud: k-th neighbour distances of up to 2000 points spread
 *          evenly over the scan.
 */
export function measureFusionScan(posed: PosedScan): FusionScanMeta {
  const { scan } = posed;
  const m = rotationMatrix(posed.jobFromScan.rotation);
  const shift = jobShift(posed);
  const low = [Infinity, Infinity, Infinity];
  const high = [-Infinity, -Infinity, -Infinity];
  const p = scan.positions;
  for (let i = 0; i + 2 < p.length; i += 3) {
    if (!Number.isFinite(p[i] + p[i + 1] + p[i + 2])) continue;
    for (let axis = 0; axis < 3; axis++) {
      const value = m[3 * axis] * p[i] + m[3 * axis + 1] * p[i + 1] + m[3 * axis + 2] * p[i + 2] + shift[axis];
      if (value < low[axis]) low[axis] = value;
      if (value > high[axis]) high[axis] = value;
    }
  }
  const size = scan.triangles ? measureMesh(p, scan.triangles) : measureCloud(p);
  return {
    id: posed.id,
    low: [low[0], low[1], low[2]],
    high: [high[0], high[1], high[2]],
    area: low[0] <= high[0] ? size.area : 0,
    spacing: size.spacing,
    noise: posed.noise,
  };
}

/** Job coordinates of a scan's origin: job = R position + shift. */
export function jobShift(posed: PosedScan): Vec3 {
  const m = rotationMatrix(posed.jobFromScan.rotation);
  const o = posed.scan.origin;
  const t = posed.jobFromScan.translation;
  return [
    m[0] * o[0] + m[1] * o[1] + m[2] * o[2] + t[0],
    m[3] * o[0] + m[4] * o[1] + m[5] * o[2] + t[1],
    m[6] * o[0] + m[7] * o[1] + m[8] * o[2] + t[2],
  ];
}

function measureMesh(p: Float32Array, triangles: Uint32Array): { area: number; spacing: number } {
  let area = 0;
  const triangleCount = Math.floor(triangles.length / 3);
  const stride = Math.max(1, Math.floor(triangleCount / 20_000));
  const edges: number[] = [];
  for (let t = 0; t < triangleCount; t++) {
    const a = 3 * triangles[3 * t];
    const b = 3 * triangles[3 * t + 1];
    const c = 3 * triangles[3 * t + 2];
    const ux = p[b] - p[a];
    const uy = p[b + 1] - p[a + 1];
    const uz = p[b + 2] - p[a + 2];
    const vx = p[c] - p[a];
    const vy = p[c + 1] - p[a + 1];
    const vz = p[c + 2] - p[a + 2];
    const x = uy * vz - uz * vy;
    const y = uz * vx - ux * vz;
    const z = ux * vy - uy * vx;
    const double = Math.sqrt(x * x + y * y + z * z);
    if (!(double > 0 && double < Infinity)) continue;
    area += double / 2;
    if (t % stride !== 0) continue;
    edges.push(Math.sqrt(ux * ux + uy * uy + uz * uz), Math.sqrt(vx * vx + vy * vy + vz * vz));
    edges.push(Math.sqrt((ux - vx) ** 2 + (uy - vy) ** 2 + (uz - vz) ** 2));
  }
  return { area, spacing: middle(edges) };
}

function measureCloud(p: Float32Array): { area: number; spacing: number } {
  const count = Math.floor(p.length / 3);
  if (count < AREA_NEIGHBOURS + 1) return { area: 0, spacing: 0 };
  const index = buildPointIndex(p);
  const probes = Math.min(PROBE_POINTS, count);
  const queries = new Float32Array(3 * probes);
  for (let i = 0; i < probes; i++) {
    const from = 3 * Math.floor((i * count) / probes);
    queries.set(p.subarray(from, from + 3), 3 * i);
  }
  const k = AREA_NEIGHBOURS + 1;
  const indices = new Int32Array(k * probes);
  const squares = new Float32Array(k * probes);
  index.kNearest(queries, k, indices, squares);
  index.dispose();
  const shares: number[] = [];
  for (let i = 0; i < probes; i++) {
    const square = squares[k * i + k - 1];
    if (square > 0 && square < Infinity) shares.push((Math.PI * square) / AREA_NEIGHBOURS);
  }
  const share = middle(shares);
  return { area: share * count, spacing: CLOUD_SPACING * Math.sqrt(share) };
}

function middle(values: number[]): number {
  if (values.length === 0) return 0;
  values.sort((a, b) => a - b);
  return values[values.length >> 1];
}
