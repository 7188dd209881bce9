import { closestPointToOrigin } from '@lapjoint/kernels';
import type { Vec3 } from '../math/index.ts';

/** A point on a triangle and its squared distance from the query. */
export interface TrianglePoint {
  readonly point: Vec3;
  readonly distanceSquared: number;
}

/**
 * Closest point of one triangle, in float64.
 *
 * Method   Voronoi regions (Ericson 2005, 5.1.5), computed relative to the query; a triangle without area counts as its
 *          edges. For many queries against a mesh use `buildTriangleIndex`.
 */
export function closestPointOnTriangle(query: Vec3, a: Vec3, b: Vec3, c: Vec3): TrianglePoint {
  const out = new Float64Array(4);
  const [x, y, z] = query;
  closestPointToOrigin(a[0] - x, a[1] - y, a[2] - z, b[0] - x, b[1] - y, b[2] - z, c[0] - x, c[1] - y, c[2] - z, out);
  return { point: [out[0] + x, out[1] + y, out[2] + z], distanceSquared: out[3] };
}
