import { buildTriangleIndex } from '../geometry/index.ts';
import { rotationMatrix, subtract, transformPoint, type Vec3 } from '../math/index.ts';
import type { PlacedSurface } from './advice.ts';

/** Says of lines between pairs of places, xyz interleaved, job frame, mm, which are free of surface: 1 free, 0 blocked. */
export type LineOfSight = (from: Float64Array, to: Float64Array) => Uint8Array;

/** More triangles than this are not worth the wait: nearness has to do. */
const LARGEST_TRIANGLE_COUNT = 6_000_000;

/**
 * Lines of sight among the captured surfaces. What nobody captured blocks nothing.
 *
 * @returns null where no surface has triangles, or there are too many; `dispose` gives the memory back
 */
export function openLinesOfSight(
  surfaces: readonly PlacedSurface[],
): { readonly isFree: LineOfSight; readonly dispose: () => void } | null {
  const meshes = surfaces.filter((s) => (s.scan.triangles?.length ?? 0) > 0);
  const corners = meshes.reduce((sum, s) => sum + (s.scan.triangles?.length ?? 0), 0);
  const first = meshes[0];
  if (first === undefined || corners > 3 * LARGEST_TRIANGLE_COUNT) return null;
  const origin = transformPoint(first.jobFromScan, first.scan.origin);
  const positions = new Float32Array(meshes.reduce((sum, s) => sum + s.scan.positions.length, 0));
  const triangles = new Uint32Array(corners);
  let [vertex, corner] = [0, 0];
  for (const { scan, jobFromScan } of meshes) {
    const m = rotationMatrix(jobFromScan.rotation);
    const shift = subtract(transformPoint(jobFromScan, scan.origin), origin);
    for (let i = 0; i < scan.positions.length; i += 3) {
      const [x, y, z] = [scan.positions[i], scan.positions[i + 1], scan.positions[i + 2]];
      for (let k = 0; k < 3; k++)
        positions[3 * vertex + i + k] = m[3 * k] * x + m[3 * k + 1] * y + m[3 * k + 2] * z + shift[k];
    }
    for (const index of scan.triangles ?? []) triangles[corner++] = vertex + index;
    vertex += scan.positions.length / 3;
  }
  const index = buildTriangleIndex(positions, triangles);
  const relative = (places: Float64Array): Float32Array => Float32Array.from(places, (v, i) => v - origin[i % 3]);
  return {
    isFree: (from, to) => {
      const count = from.length / 3;
      const distances = new Float32Array(count);
      const directions = Float32Array.from(to, (v, i) => v - from[i]);
      index.castRays(relative(from), directions, 1, new Int32Array(count), distances);
      return Uint8Array.from(distances, (d) => (d < 1 ? 0 : 1));
    },
    dispose: () => index.dispose(),
  };
}

/** Directions in which an instrument may stand before a surface: straight, and tilted by 45 degrees to eight sides. */
const TILTS = 8;

/** Places from which an instrument sees a place, in front of its surface. */
export function standpointsBefore(
  isFree: LineOfSight,
  place: Vec3,
  normal: Vec3,
  standOff: number,
  lift: number,
): Vec3[] {
  const helper: Vec3 = Math.abs(normal[0]) < 0.6 ? [1, 0, 0] : [0, 1, 0];
  const u: Vec3 = [
    normal[1] * helper[2] - normal[2] * helper[1],
    normal[2] * helper[0] - normal[0] * helper[2],
    normal[0] * helper[1] - normal[1] * helper[0],
  ];
  const length = Math.hypot(...u);
  const v: Vec3 = [
    (normal[1] * u[2] - normal[2] * u[1]) / length,
    (normal[2] * u[0] - normal[0] * u[2]) / length,
    (normal[0] * u[1] - normal[1] * u[0]) / length,
  ];
  const from: Vec3 = [place[0] + lift * normal[0], place[1] + lift * normal[1], place[2] + lift * normal[2]];
  const ends: Vec3[] = [];
  for (let t = -1; t < TILTS; t++) {
    const angle = (2 * Math.PI * t) / TILTS;
    const [c, s] = t < 0 ? [0, 0] : [Math.cos(angle) / length, Math.sin(angle)];
    const d = [0, 1, 2].map((k) => normal[k] + c * u[k] + s * v[k]) as unknown as Vec3;
    const size = standOff / Math.hypot(...d);
    ends.push([from[0] + size * d[0], from[1] + size * d[1], from[2] + size * d[2]]);
  }
  const free = isFree(Float64Array.from(ends.flatMap(() => from)), Float64Array.from(ends.flat()));
  return ends.filter((_, i) => free[i] === 1);
}

/** Whether some place of the one list sees some place of the other that is no further than `reach`. */
export function seeEachOther(isFree: LineOfSight, a: readonly Vec3[], b: readonly Vec3[], reach: number): boolean {
  for (const p of a) {
    const near = b.filter((q) => Math.hypot(q[0] - p[0], q[1] - p[1], q[2] - p[2]) <= reach);
    if (near.length === 0) continue;
    const free = isFree(Float64Array.from(near.flatMap(() => p)), Float64Array.from(near.flat()));
    if (free.includes(1)) return true;
  }
  return false;
}
