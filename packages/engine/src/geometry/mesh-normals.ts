/**
 * Normals of triangles, right-handed about their winding.
 *
 * @returns 3 numbers a triangle, unit length; 0 0 0 for a triangle without area
 */
export function triangleNormals(positions: Float32Array, triangles: Uint32Array): Float32Array {
  const normals = new Float32Array(triangles.length);
  const n = new Float64Array(3);
  for (let t = 0; t + 2 < triangles.length; t += 3) {
    areaVector(positions, triangles[t], triangles[t + 1], triangles[t + 2], n);
    writeUnit(n[0], n[1], n[2], normals, t);
  }
  return normals;
}

/**
 * Normals of vertices: the sum of the adjacent triangles' normals, each weighed by the angle at the vertex, which does
 * not depend on how the surface is triangulated (Thürmer & Wüthrich 1998).
 *
 * @returns 3 numbers a vertex, unit length; 0 0 0 for a vertex without a triangle that has area
 */
export function vertexNormals(positions: Float32Array, triangles: Uint32Array): Float32Array {
  const sums = new Float64Array(positions.length);
  const n = new Float64Array(3);
  for (let t = 0; t + 2 < triangles.length; t += 3) {
    areaVector(positions, triangles[t], triangles[t + 1], triangles[t + 2], n);
    const length = Math.sqrt(n[0] * n[0] + n[1] * n[1] + n[2] * n[2]);
    if (!(length > 0)) continue;
    for (let corner = 0; corner < 3; corner++) {
      const vertex = triangles[t + corner];
      const next = triangles[t + ((corner + 1) % 3)];
      const last = triangles[t + ((corner + 2) % 3)];
      const weight = cornerAngle(positions, vertex, next, last, length) / length;
      for (let axis = 0; axis < 3; axis++) sums[3 * vertex + axis] += weight * n[axis];
    }
  }
  const normals = new Float32Array(positions.length);
  for (let i = 0; i + 2 < sums.length; i += 3) writeUnit(sums[i], sums[i + 1], sums[i + 2], normals, i);
  return normals;
}

/** Twice the area, as a vector. */
function areaVector(positions: Float32Array, a: number, b: number, c: number, out: Float64Array): void {
  const ux = positions[3 * b] - positions[3 * a];
  const uy = positions[3 * b + 1] - positions[3 * a + 1];
  const uz = positions[3 * b + 2] - positions[3 * a + 2];
  const vx = positions[3 * c] - positions[3 * a];
  const vy = positions[3 * c + 1] - positions[3 * a + 1];
  const vz = positions[3 * c + 2] - positions[3 * a + 2];
  out[0] = uy * vz - uz * vy;
  out[1] = uz * vx - ux * vz;
  out[2] = ux * vy - uy * vx;
}

function cornerAngle(positions: Float32Array, at: number, b: number, c: number, doubleArea: number): number {
  let product = 0;
  for (let axis = 0; axis < 3; axis++) {
    const origin = positions[3 * at + axis];
    product += (positions[3 * b + axis] - origin) * (positions[3 * c + axis] - origin);
  }
  return Math.atan2(doubleArea, product);
}

function writeUnit(x: number, y: number, z: number, out: Float32Array, at: number): void {
  const length = Math.sqrt(x * x + y * y + z * z);
  if (!(length > 0 && length < Infinity)) return;
  out[at] = x / length;
  out[at + 1] = y / length;
  out[at + 2] = z / length;
}
