/** Squared sine of the angle between two edges below which a triangle counts as its edges. */
const FLAT_LIMIT = 1e-24;

/**
 * Closest point of a triangle to the origin.
 *
 * Method   Voronoi regions of vertices, edges and face (Ericson, Real-Time Collision Detection, 2005, 5.1.5); a triangle
 *          without area is treated as its three edges.
 * Precision  float64; give the corners relative to the query, so that no digits are lost far from the frame's origin.
 *
 * @param out x y z of the closest point, relative to the query, and the squared distance
 */
export function closestPointToOrigin(
  ax: number,
  ay: number,
  az: number,
  bx: number,
  by: number,
  bz: number,
  cx: number,
  cy: number,
  cz: number,
  out: Float64Array,
): void {
  const ux = bx - ax;
  const uy = by - ay;
  const uz = bz - az;
  const vx = cx - ax;
  const vy = cy - ay;
  const vz = cz - az;
  const nx = uy * vz - uz * vy;
  const ny = uz * vx - ux * vz;
  const nz = ux * vy - uy * vx;
  const uu = ux * ux + uy * uy + uz * uz;
  const vv = vx * vx + vy * vy + vz * vz;
  if (!(nx * nx + ny * ny + nz * nz > FLAT_LIMIT * (uu * vv))) {
    out[3] = Infinity;
    closestOnEdge(ax, ay, az, ux, uy, uz, uu, out);
    closestOnEdge(ax, ay, az, vx, vy, vz, vv, out);
    const wx = cx - bx;
    const wy = cy - by;
    const wz = cz - bz;
    closestOnEdge(bx, by, bz, wx, wy, wz, wx * wx + wy * wy + wz * wz, out);
    return;
  }
  const d1 = -(ux * ax + uy * ay + uz * az);
  const d2 = -(vx * ax + vy * ay + vz * az);
  if (d1 <= 0 && d2 <= 0) {
    give(ax, ay, az, out);
    return;
  }
  const d3 = -(ux * bx + uy * by + uz * bz);
  const d4 = -(vx * bx + vy * by + vz * bz);
  if (d3 >= 0 && d4 <= d3) {
    give(bx, by, bz, out);
    return;
  }
  const vc = d1 * d4 - d3 * d2;
  if (vc <= 0 && d1 >= 0 && d3 <= 0) {
    const t = d1 / (d1 - d3);
    give(ax + t * ux, ay + t * uy, az + t * uz, out);
    return;
  }
  const d5 = -(ux * cx + uy * cy + uz * cz);
  const d6 = -(vx * cx + vy * cy + vz * cz);
  if (d6 >= 0 && d5 <= d6) {
    give(cx, cy, cz, out);
    return;
  }
  const vb = d5 * d2 - d1 * d6;
  if (vb <= 0 && d2 >= 0 && d6 <= 0) {
    const t = d2 / (d2 - d6);
    give(ax + t * vx, ay + t * vy, az + t * vz, out);
    return;
  }
  const va = d3 * d6 - d5 * d4;
  const d43 = d4 - d3;
  const d56 = d5 - d6;
  if (va <= 0 && d43 >= 0 && d56 >= 0) {
    const t = d43 / (d43 + d56);
    give(bx + t * (cx - bx), by + t * (cy - by), bz + t * (cz - bz), out);
    return;
  }
  const s = 1 / (va + vb + vc);
  const v = vb * s;
  const w = vc * s;
  give(ax + ux * v + vx * w, ay + uy * v + vy * w, az + uz * v + vz * w, out);
}

function give(x: number, y: number, z: number, out: Float64Array): void {
  out[0] = x;
  out[1] = y;
  out[2] = z;
  out[3] = x * x + y * y + z * z;
}

function closestOnEdge(
  ax: number,
  ay: number,
  az: number,
  ux: number,
  uy: number,
  uz: number,
  uu: number,
  out: Float64Array,
): void {
  const along = -(ax * ux + ay * uy + az * uz);
  const t = along > 0 ? (along < uu ? along / uu : 1) : 0;
  const x = ax + t * ux;
  const y = ay + t * uy;
  const z = az + t * uz;
  if (x * x + y * y + z * z < out[3]) give(x, y, z, out);
}
