import { makeRandom, type Random } from '../../src/base/index.ts';
import { type Pose, rotate, transformPoint, type Vec3 } from '../../src/math/index.ts';
import type { ScanData, Viewpoint } from '../../src/model/index.ts';

/** Points with the truth beside them: shapes in closed form, sampled at random or on grids. */
export interface SampledShape {
  readonly points: Vec3[];
  readonly normals: Vec3[];
}

export function scanOf(
  points: readonly Vec3[],
  more: {
    readonly normals?: readonly Vec3[];
    readonly viewpoint?: Viewpoint;
    readonly triangles?: Uint32Array;
    readonly origin?: Vec3;
  } = {},
): ScanData {
  return {
    origin: more.origin ?? [0, 0, 0],
    positions: Float32Array.from(points.flat()),
    normals: more.normals === undefined ? null : Float32Array.from(more.normals.flat()),
    colors: null,
    triangles: more.triangles ?? null,
    viewpoint: more.viewpoint ?? null,
  };
}

/** A random unit vector. */
export function randomDirection(random: Random): Vec3 {
  for (;;) {
    const v: Vec3 = [random.normal(), random.normal(), random.normal()];
    const length = Math.hypot(...v);
    if (length > 1e-6) return [v[0] / length, v[1] / length, v[2] / length];
  }
}

/**
 * A smooth closed body without symmetry, of about 200 mm: the distance from the middle is a function of the direction d,
 * r(d) = 100 + 20 d.a + waves. Normals in closed form, as the gradient of |p| - r(p / |p|).
 */
function blobRadius(d: Vec3): number {
  return (
    100 + 14 * d[0] * d[1] + 11 * d[2] * d[0] * d[0] + 9 * Math.sin(3 * d[1] + 1) + 7 * Math.sin(4 * d[0] - 3 * d[2])
  );
}

function blobNormal(d: Vec3): Vec3 {
  // Gradient of r on the sphere by central differences in the plane across d: exact to 1e-9, far below what is tested.
  const h = 1e-5;
  const gradient = [0, 1, 2].map((axis) => {
    const plus = [...d] as [number, number, number];
    const minus = [...d] as [number, number, number];
    plus[axis] += h;
    minus[axis] -= h;
    const unit = (v: [number, number, number]): Vec3 => {
      const l = Math.hypot(...v);
      return [v[0] / l, v[1] / l, v[2] / l];
    };
    return (blobRadius(unit(plus)) - blobRadius(unit(minus))) / (2 * h);
  });
  const r = blobRadius(d);
  const n = d.map((value, axis) => value - gradient[axis] / r);
  const length = Math.hypot(...n);
  return [n[0] / length, n[1] / length, n[2] / length];
}

/**
 * Random points of the blob that a far instrument in direction `view` sees under less than 72 deg, with noise along the
 * normal.
 */
export function sampleBlob(seedName: string, count: number, view: Vec3 | null, noise: number): SampledShape {
  const random = makeRandom(7, seedName);
  const points: Vec3[] = [];
  const normals: Vec3[] = [];
  while (points.length < count) {
    const d = randomDirection(random);
    const n = blobNormal(d);
    if (view !== null && n[0] * view[0] + n[1] * view[1] + n[2] * view[2] < 0.3) continue;
    const r = blobRadius(d);
    const e = noise * random.normal();
    points.push([d[0] * r + e * n[0], d[1] * r + e * n[1], d[2] * r + e * n[2]]);
    normals.push(n);
  }
  return { points, normals };
}

/** The points as an instrument with another frame gives them: `frameFromWorld` applied. */
export function movedShape(shape: SampledShape, frameFromWorld: Pose): SampledShape {
  return {
    points: shape.points.map((p) => transformPoint(frameFromWorld, p)),
    normals: shape.normals.map((n) => rotate(frameFromWorld.rotation, n)),
  };
}

/** Root mean square distance between what two poses make of points. */
export function poseDistance(first: Pose, second: Pose, points: readonly Vec3[]): number {
  let sum = 0;
  for (const p of points) {
    const a = transformPoint(first, p);
    const b = transformPoint(second, p);
    sum += (a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2 + (a[2] - b[2]) ** 2;
  }
  return Math.sqrt(sum / points.length);
}

/** A list in another order. */
export function shuffledOrder(count: number, seedName: string): number[] {
  const random = makeRandom(3, seedName);
  const order = Array.from({ length: count }, (_, i) => i);
  for (let i = count - 1; i > 0; i--) {
    const j = random.integer(i + 1);
    [order[i], order[j]] = [order[j], order[i]];
  }
  return order;
}
