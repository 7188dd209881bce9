import {
  boundaryLoops,
  buildMeshTopology,
  buildTriangleIndex,
  meshComponents,
  splitNonManifold,
  triangleNormals,
} from '../geometry/index.ts';
import { distanceToScans } from './distance-to-scans.ts';
import type { FusedSurface } from './fused-surface.ts';
import type { PosedScan } from './posed-scan.ts';

/** What of a surface is judged: a fused one, or any mesh with a stated resolution. */
export type JudgedSurface = Pick<FusedSurface, 'origin' | 'positions' | 'triangles' | 'resolution'> &
  Partial<Pick<FusedSurface, 'sigmaNoise' | 'sigmaAlignment'>>;

/** Numbers that show whether a fused surface is what it should be. Lengths mm, areas mm^2; docs/fusion.md defines them. */
export interface SurfaceQuality {
  readonly vertexCount: number;
  readonly triangleCount: number;
  readonly area: number;
  readonly componentCount: number;
  readonly boundaryLoopCount: number;
  readonly boundaryLength: number;
  readonly nonManifoldEdgeCount: number;
  readonly reversedEdgeCount: number;
  /** Vertices with more than one fan of triangles. */
  readonly pinchedVertexCount: number;
  /** V - E + F. */
  readonly eulerNumber: number;
  /** Share of the area whose next surface along its normal, within `doubleSkinReach`, faces the same way. */
  readonly doubleSkinShare: number;
  /** Largest search length used for it. */
  readonly doubleSkinReach: number;
  /** Share of the area with a corner or the middle further than one resolution from all scans; null when none were given. */
  readonly unsupportedShare: number | null;
  /** Largest distance of the surface from the scans that was met, up to four resolutions; null when none were given. */
  readonly largestDistanceToData: number | null;
}

/** How to judge. */
export interface SurfaceQualityOptions {
  /** Triangles examined for double skin and support; more are sampled evenly. */
  readonly sampleLimit: number;
}

export const SURFACE_QUALITY_DEFAULTS: SurfaceQualityOptions = {
  // A share of 0.01 % is then 100 triangles: told apart from none.
  sampleLimit: 1_000_000,
};

/** Two normals that agree this much (cosine) face the same way. */
const SAME_FACING = 0.5;
/** Search for a second skin: this many resolutions, or three standard uncertainties where that is more. */
const SKIN_RESOLUTIONS = 2;
const SKIN_SIGMAS = 3;
/** Rays start this share of the resolution off the surface, so as not to meet their own triangle. */
const RAY_LIFT = 1e-3;
const CHUNK = 4096;

/**
 * Judges a surface.
 *
 * Method   A ray from the middle of a triangle along its normal, to either side, must meet a surface that faces the other way
 *          first: walls and gaps alternate. When it meets one that faces the same way within the search length, the triangle
 *          is double skin. Support: distance to the nearest scan surface.
 *
 * @param scans what the surface was made from; null leaves out the support
 */
export function surfaceQuality(
  surface: JudgedSurface,
  scans: readonly PosedScan[] | null,
  options: Partial<SurfaceQualityOptions> = {},
): SurfaceQuality {
  const { sampleLimit } = { ...SURFACE_QUALITY_DEFAULTS, ...options };
  const { positions, triangles } = surface;
  const vertexCount = positions.length / 3;
  const triangleCount = triangles.length / 3;
  const topology = buildMeshTopology(triangles, vertexCount);
  const loops = boundaryLoops(topology);
  const areas = triangleAreas(positions, triangles);
  const area = areas.reduce((sum, value) => sum + value, 0);
  const stride = Math.max(1, Math.ceil(triangleCount / sampleLimit));
  const chosen = Uint32Array.from({ length: Math.ceil(triangleCount / stride) }, (_, n) => n * stride);
  const skin = findDoubleSkin(surface, chosen, areas);
  const support = scans ? findUnsupported(surface, scans, chosen, areas) : null;
  return {
    vertexCount,
    triangleCount,
    area,
    componentCount: meshComponents(topology).count,
    boundaryLoopCount: loops.length,
    boundaryLength: loops.reduce((sum, loop) => sum + loopLength(positions, triangles, loop), 0),
    nonManifoldEdgeCount: topology.nonManifoldEdgeCount,
    reversedEdgeCount: topology.reversedEdgeCount,
    pinchedVertexCount: splitNonManifold(triangles, vertexCount, topology).splitCount,
    eulerNumber: usedVertexCount(triangles, vertexCount) - topology.edgeCount + triangleCount,
    doubleSkinShare: skin.share,
    doubleSkinReach: skin.reach,
    unsupportedShare: support?.share ?? null,
    largestDistanceToData: support?.largest ?? null,
  };
}

function findDoubleSkin(
  surface: JudgedSurface,
  chosen: Uint32Array,
  areas: Float64Array,
): { share: number; reach: number } {
  const { positions, triangles, resolution } = surface;
  if (chosen.length === 0) return { share: 0, reach: 0 };
  const normals = triangleNormals(positions, triangles);
  const index = buildTriangleIndex(positions, triangles);
  const lift = RAY_LIFT * resolution;
  let reach = 0;
  let all = 0;
  let double = 0;
  for (let from = 0; from < chosen.length; from += CHUNK) {
    const part = chosen.subarray(from, Math.min(chosen.length, from + CHUNK));
    const isDouble = new Uint8Array(part.length);
    const reaches = Float64Array.from(part, (t) => skinReach(surface, t));
    const longest = reaches.reduce((a, b) => Math.max(a, b), 0);
    reach = Math.max(reach, longest);
    for (const side of [1, -1]) {
      const origins = new Float32Array(3 * part.length);
      const directions = new Float32Array(3 * part.length);
      part.forEach((t, n) => {
        for (let axis = 0; axis < 3; axis++) {
          const direction = side * normals[3 * t + axis];
          directions[3 * n + axis] = direction;
          origins[3 * n + axis] = middleOf(positions, triangles, t, axis) + lift * direction;
        }
      });
      const hits = new Int32Array(part.length);
      const distances = new Float32Array(part.length);
      index.castRays(origins, directions, longest, hits, distances);
      part.forEach((t, n) => {
        const hit = hits[n];
        if (hit < 0 || hit === t || distances[n] + lift > reaches[n]) return;
        let product = 0;
        for (let axis = 0; axis < 3; axis++) product += normals[3 * t + axis] * normals[3 * hit + axis];
        if (product > SAME_FACING) isDouble[n] = 1;
      });
    }
    part.forEach((t, n) => {
      all += areas[t];
      if (isDouble[n]) double += areas[t];
    });
  }
  index.dispose();
  return { share: all > 0 ? double / all : 0, reach };
}

function skinReach(surface: JudgedSurface, t: number): number {
  const { sigmaNoise, sigmaAlignment, triangles, resolution } = surface;
  let sigma = 0;
  for (let k = 0; k < 3; k++) {
    const v = triangles[3 * t + k];
    sigma = Math.max(sigma, Math.hypot(sigmaNoise?.[v] ?? 0, sigmaAlignment?.[v] ?? 0));
  }
  return Math.max(SKIN_RESOLUTIONS * resolution, SKIN_SIGMAS * sigma);
}

function findUnsupported(
  surface: JudgedSurface,
  scans: readonly PosedScan[],
  chosen: Uint32Array,
  areas: Float64Array,
): { share: number; largest: number } {
  const { positions, triangles, origin, resolution } = surface;
  // Corners, then middles.
  const vertexCount = positions.length / 3;
  const points = new Float64Array(3 * (vertexCount + chosen.length));
  for (let n = 0; n < positions.length; n++) points[n] = origin[n % 3] + positions[n];
  chosen.forEach((t, n) => {
    for (let axis = 0; axis < 3; axis++) {
      points[3 * (vertexCount + n) + axis] = origin[axis] + middleOf(positions, triangles, t, axis);
    }
  });
  const distances = distanceToScans(points, scans, 4 * resolution, resolution);
  let all = 0;
  let unsupported = 0;
  let largest = 0;
  chosen.forEach((t, n) => {
    all += areas[t];
    const furthest = Math.max(
      distances[triangles[3 * t]],
      distances[triangles[3 * t + 1]],
      distances[triangles[3 * t + 2]],
      distances[vertexCount + n],
    );
    largest = Math.max(largest, furthest);
    if (furthest > resolution) unsupported += areas[t];
  });
  return { share: all > 0 ? unsupported / all : 0, largest };
}

function triangleAreas(p: Float32Array, triangles: Uint32Array): Float64Array {
  const areas = new Float64Array(triangles.length / 3);
  for (let t = 0; t < areas.length; t++) {
    const a = 3 * triangles[3 * t];
    const b = 3 * triangles[3 * t + 1];
    const c = 3 * triangles[3 * t + 2];
    const ux = p[b] - p[a];
    const uy = p[b + 1] - p[a + 1];
    const uz = p[b + 2] - p[a + 2];
    const vx = p[c] - p[a];
    const vy = p[c + 1] - p[a + 1];
    const vz = p[c + 2] - p[a + 2];
    areas[t] = Math.sqrt((uy * vz - uz * vy) ** 2 + (uz * vx - ux * vz) ** 2 + (ux * vy - uy * vx) ** 2) / 2;
  }
  return areas;
}

function middleOf(p: Float32Array, triangles: Uint32Array, t: number, axis: number): number {
  return (p[3 * triangles[3 * t] + axis] + p[3 * triangles[3 * t + 1] + axis] + p[3 * triangles[3 * t + 2] + axis]) / 3;
}

function loopLength(p: Float32Array, triangles: Uint32Array, loop: readonly number[]): number {
  let length = 0;
  loop.forEach((h, n) => {
    const a = 3 * triangles[h];
    const b = 3 * triangles[loop[(n + 1) % loop.length]];
    length += Math.hypot(p[a] - p[b], p[a + 1] - p[b + 1], p[a + 2] - p[b + 2]);
  });
  return length;
}

function usedVertexCount(triangles: Uint32Array, vertexCount: number): number {
  const used = new Uint8Array(vertexCount);
  for (const vertex of triangles) used[vertex] = 1;
  return used.reduce((sum, value) => sum + value, 0);
}
