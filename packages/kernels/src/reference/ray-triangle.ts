/** Squared sine below which a triangle has no area, and a ray runs in its plane. */
const FLAT_LIMIT = 1e-24;

/**
 * Distance along a ray from the origin to a triangle, in lengths of the direction; Infinity where it misses.
 *
 * Method   Möller & Trumbore 1997 in float64, both sides count, edges and corners belong to the triangle.
 * Limits   a triangle without area and a ray in the triangle's plane never hit.
 */
export function rayDistance(
  ax: number,
  ay: number,
  az: number,
  bx: number,
  by: number,
  bz: number,
  cx: number,
  cy: number,
  cz: number,
  dx: number,
  dy: number,
  dz: number,
): number {
  const ux = bx - ax;
  const uy = by - ay;
  const uz = bz - az;
  const vx = cx - ax;
  const vy = cy - ay;
  const vz = cz - az;
  const px = dy * vz - dz * vy;
  const py = dz * vx - dx * vz;
  const pz = dx * vy - dy * vx;
  const determinant = ux * px + uy * py + uz * pz;
  const nx = uy * vz - uz * vy;
  const ny = uz * vx - ux * vz;
  const nz = ux * vy - uy * vx;
  const nn = nx * nx + ny * ny + nz * nz;
  const uu = ux * ux + uy * uy + uz * uz;
  const vv = vx * vx + vy * vy + vz * vz;
  if (!(nn > FLAT_LIMIT * (uu * vv))) return Infinity;
  const dd = dx * dx + dy * dy + dz * dz;
  if (!(determinant * determinant > FLAT_LIMIT * (nn * dd))) return Infinity;
  const inverse = 1 / determinant;
  const s = -(ax * px + ay * py + az * pz) * inverse;
  if (!(s >= 0 && s <= 1)) return Infinity;
  const qx = az * uy - ay * uz;
  const qy = ax * uz - az * ux;
  const qz = ay * ux - ax * uy;
  const t = (dx * qx + dy * qy + dz * qz) * inverse;
  if (!(t >= 0 && s + t <= 1)) return Infinity;
  const distance = (vx * qx + vy * qy + vz * qz) * inverse;
  return distance >= 0 ? distance : Infinity;
}
