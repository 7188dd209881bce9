import { buildTriangleIndex, type TriangleIndex } from '../geometry/index.ts';
import type { Vec3 } from '../math/index.ts';
import type { ScanData } from '../model/index.ts';

/** What a surface is made of, as far as an optical instrument notices. */
export interface SurfaceMaterial {
  readonly name: string;
  /** sRGB, 8 bit a channel. */
  readonly color: readonly [number, number, number];
  /** False for glass: it stops the ray and gives no point. */
  readonly measurable: boolean;
  /** Share of the surface, 0 to 1, that gives no point because it is dark or shiny; lost in patches. */
  readonly dropout: number;
}

/**
 * A triangle mesh with known truth, ready for ray casting.
 *
 * Units    mm; true coordinate = origin + position. Triangles are counter-clockwise seen from outside.
 * Owner    whoever builds it calls `dispose`.
 */
export interface SimulatedScene {
  readonly origin: Vec3;
  readonly positions: Float32Array;
  readonly triangles: Uint32Array;
  readonly vertexColors: Uint8Array | null;
  readonly materials: readonly SurfaceMaterial[];
  /** Index into `materials` of each triangle. */
  readonly triangleMaterial: Uint16Array;
  readonly index: TriangleIndex;
  dispose(): void;
}

const PLAIN_MATERIAL: SurfaceMaterial = { name: 'plain', color: [190, 190, 190], measurable: true, dropout: 0 };

/**
 * Builds the scene of a mesh.
 *
 * @param mesh a scan with triangles
 * @param materials materials and the index of each triangle's; without them everything is plain and measurable
 * @throws RangeError when the mesh has no triangles
 */
export function buildSimulatedScene(
  mesh: ScanData,
  materials?: { readonly list: readonly SurfaceMaterial[]; readonly ofTriangle: Uint16Array },
): SimulatedScene {
  if (mesh.triangles === null || mesh.triangles.length === 0) throw new RangeError('A scene needs triangles.');
  const index = buildTriangleIndex(mesh.positions, mesh.triangles);
  return {
    origin: mesh.origin,
    positions: mesh.positions,
    triangles: mesh.triangles,
    vertexColors: mesh.colors,
    materials: materials?.list ?? [PLAIN_MATERIAL],
    triangleMaterial: materials?.ofTriangle ?? new Uint16Array(mesh.triangles.length / 3),
    index,
    dispose: () => index.dispose(),
  };
}

/** Where rays met a scene. Arrays with one entry a ray (positions and normals three); nothing is valid where `triangle` is -1. */
export interface SceneHits {
  readonly triangle: Int32Array;
  /** mm, in the scene's coordinates, float64: exact in the plane of the triangle. */
  readonly positions: Float64Array;
  /** Unit normals of the triangles, by their own winding. */
  readonly normals: Float64Array;
  /** Along the ray, mm. */
  readonly distances: Float64Array;
}

/** Unit normal of a triangle of the scene by its winding; zero for a triangle without area. */
export function sceneTriangleNormal(scene: SimulatedScene, triangle: number, out: Float64Array, at: number): void {
  const { positions: p, triangles: t } = scene;
  const a = 3 * t[3 * triangle];
  const b = 3 * t[3 * triangle + 1];
  const c = 3 * t[3 * triangle + 2];
  const ux = p[b] - p[a];
  const uy = p[b + 1] - p[a + 1];
  const uz = p[b + 2] - p[a + 2];
  const vx = p[c] - p[a];
  const vy = p[c + 1] - p[a + 1];
  const vz = p[c + 2] - p[a + 2];
  const nx = uy * vz - uz * vy;
  const ny = uz * vx - ux * vz;
  const nz = ux * vy - uy * vx;
  const length = Math.hypot(nx, ny, nz);
  const s = length > 0 ? 1 / length : 0;
  out[at] = nx * s;
  out[at + 1] = ny * s;
  out[at + 2] = nz * s;
}

/**
 * Casts rays and refines every hit in float64 on the plane of its triangle.
 *
 * @param origins xyz interleaved, mm, scene coordinates
 * @param directions unit vectors, xyz interleaved
 */
export function castIntoScene(
  scene: SimulatedScene,
  origins: Float64Array,
  directions: Float64Array,
  maxDistance: number,
): SceneHits {
  const count = origins.length / 3;
  const localOrigins = new Float32Array(origins.length);
  for (let i = 0; i < origins.length; i++) localOrigins[i] = origins[i] - (scene.origin[i % 3] as number);
  const triangle = new Int32Array(count);
  const coarse = new Float32Array(count);
  scene.index.castRays(localOrigins, new Float32Array(directions), maxDistance, triangle, coarse);
  const positions = new Float64Array(3 * count);
  const normals = new Float64Array(3 * count);
  const distances = new Float64Array(count).fill(Number.POSITIVE_INFINITY);
  const [ox, oy, oz] = scene.origin;
  for (let i = 0; i < count; i++) {
    if (triangle[i] < 0) continue;
    sceneTriangleNormal(scene, triangle[i], normals, 3 * i);
    const a = 3 * scene.triangles[3 * triangle[i]];
    const nx = normals[3 * i];
    const ny = normals[3 * i + 1];
    const nz = normals[3 * i + 2];
    const dx = directions[3 * i];
    const dy = directions[3 * i + 1];
    const dz = directions[3 * i + 2];
    const along = nx * dx + ny * dy + nz * dz;
    const height =
      nx * (ox + scene.positions[a] - origins[3 * i]) +
      ny * (oy + scene.positions[a + 1] - origins[3 * i + 1]) +
      nz * (oz + scene.positions[a + 2] - origins[3 * i + 2]);
    // Seen edge-on the plane says nothing about the distance; keep the float32 answer there.
    const t = Math.abs(along) > 1e-3 ? height / along : coarse[i];
    distances[i] = t;
    positions[3 * i] = origins[3 * i] + t * dx;
    positions[3 * i + 1] = origins[3 * i + 1] + t * dy;
    positions[3 * i + 2] = origins[3 * i + 2] + t * dz;
  }
  return { triangle, positions, normals, distances };
}
