import type { SampleSink } from './fusion-samples.ts';

/** Vertex normals further from the triangle's own than this (cosine) belong to an edge of the object, not to a curved face. */
const SMOOTH = 0.9;

/** A mesh whose triangles are cut into samples. `normals` need not have unit length. */
export interface TriangleSource {
  readonly positions: Float64Array;
  readonly normals: Float64Array;
  readonly colors: Uint8Array | null;
  readonly borders: Float32Array;
  readonly resolution: number;
  readonly sink: SampleSink;
}

/**
 * Makes a function that cuts one triangle into samples.
 *
 * Method   halves it at the longest edge until no edge is longer than the resolution; each piece is a sample at its
 *          centroid. Where the normals at the corners say that the face is curved, the sample is lifted from the flat
 *          triangle onto the curve: half way to the mean of its projections onto the corners' tangent planes (Boubekeur &
 *          Alexa 2008 with factor 1/2, which is exact to second order). Without this a coarse mesh of a ball would come out
 *          too small by its facets.
 */
export function makeTriangleSplitter(source: TriangleSource): (a: number, b: number, c: number) => void {
  const { positions, colors, borders, sink } = source;
  const limit = source.resolution * source.resolution;
  // Corners of the pieces as barycentric coordinates, 9 numbers each; halving goes as deep as the logarithm of the area.
  const stack = new Float64Array(9 * 64);
  const shares = new Float64Array(64);
  const corner = new Float64Array(9);
  const normals = new Float64Array(9);
  const normal = new Float64Array(3);
  const spot = new Float64Array(3);
  const bend = new Float64Array(3);
  return (a, b, c) => {
    const vertices = [a, b, c];
    const area = triangleVector(positions, vertices, normal);
    if (!(area > 0)) return;
    const isCurved = unitNormals(source.normals, vertices, normal, normals);
    let depth = 1;
    stack.set([1, 0, 0, 0, 1, 0, 0, 0, 1]);
    shares[0] = area;
    while (depth > 0) {
      depth--;
      const at = 9 * depth;
      for (let n = 0; n < 9; n++) {
        const axis = n % 3;
        const from = at + n - axis;
        corner[n] =
          stack[from] * positions[3 * a + axis] +
          stack[from + 1] * positions[3 * b + axis] +
          stack[from + 2] * positions[3 * c + axis];
      }
      const k = longestEdge(corner, limit);
      if (k >= 0 && depth + 2 <= 62) {
        halve(stack, at, k);
        shares[depth + 1] = shares[depth] /= 2;
        depth += 2;
        continue;
      }
      const u = (stack[at] + stack[at + 3] + stack[at + 6]) / 3;
      const v = (stack[at + 1] + stack[at + 4] + stack[at + 7]) / 3;
      const w = (stack[at + 2] + stack[at + 5] + stack[at + 8]) / 3;
      for (let axis = 0; axis < 3; axis++) spot[axis] = (corner[axis] + corner[3 + axis] + corner[6 + axis]) / 3;
      bend.set(normal);
      if (isCurved) liftOntoCurve(positions, vertices, normals, [u, v, w], spot, bend);
      const border = u * borders[a] + v * borders[b] + w * borders[c];
      const i = sink.add(spot[0], spot[1], spot[2], bend[0], bend[1], bend[2], shares[depth], border);
      if (colors) {
        sink.setColor(
          i,
          u * colors[3 * a] + v * colors[3 * b] + w * colors[3 * c],
          u * colors[3 * a + 1] + v * colors[3 * b + 1] + w * colors[3 * c + 1],
          u * colors[3 * a + 2] + v * colors[3 * b + 2] + w * colors[3 * c + 2],
        );
      }
    }
  };
}

/** Writes the unit normal of the triangle and returns its area. */
function triangleVector(p: Float64Array, vertices: readonly number[], out: Float64Array): number {
  const [a, b, c] = vertices.map((v) => 3 * v) as [number, number, number];
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
  out[0] = x / double;
  out[1] = y / double;
  out[2] = z / double;
  return double / 2;
}

/** Writes the corners' unit normals; false when one of them is not that of a smooth face through this triangle. */
function unitNormals(
  from: Float64Array,
  vertices: readonly number[],
  normal: Float64Array,
  out: Float64Array,
): boolean {
  for (let k = 0; k < 3; k++) {
    const v = 3 * vertices[k];
    const length = Math.sqrt(from[v] ** 2 + from[v + 1] ** 2 + from[v + 2] ** 2);
    let product = 0;
    for (let axis = 0; axis < 3; axis++) {
      out[3 * k + axis] = from[v + axis] / length;
      product += out[3 * k + axis] * normal[axis];
    }
    if (!(product > SMOOTH)) return false;
  }
  return true;
}

/** The corner at which the longest edge starts, or -1 when no squared edge is above the limit. */
function longestEdge(corner: Float64Array, limit: number): number {
  let longest = -1;
  let square = limit;
  for (let k = 0; k < 3; k++) {
    const l = (k + 1) % 3;
    const d =
      (corner[3 * k] - corner[3 * l]) ** 2 +
      (corner[3 * k + 1] - corner[3 * l + 1]) ** 2 +
      (corner[3 * k + 2] - corner[3 * l + 2]) ** 2;
    if (d > square) {
      square = d;
      longest = k;
    }
  }
  return longest;
}

/** Piece (k, l, m) with longest edge k-l becomes (k, middle, m) and (middle, l, m), the second one put on top. */
function halve(stack: Float64Array, at: number, k: number): void {
  const l = (k + 1) % 3;
  stack.copyWithin(at + 9, at, at + 9);
  for (let v = 0; v < 3; v++) {
    const middle = (stack[at + 3 * k + v] + stack[at + 3 * l + v]) / 2;
    stack[at + 3 * l + v] = middle;
    stack[at + 9 + 3 * k + v] = middle;
  }
}

function liftOntoCurve(
  positions: Float64Array,
  vertices: readonly number[],
  normals: Float64Array,
  shares: readonly number[],
  spot: Float64Array,
  bend: Float64Array,
): void {
  let x = 0;
  let y = 0;
  let z = 0;
  bend.fill(0);
  for (let k = 0; k < 3; k++) {
    const v = 3 * vertices[k];
    const nx = normals[3 * k];
    const ny = normals[3 * k + 1];
    const nz = normals[3 * k + 2];
    const height =
      (positions[v] - spot[0]) * nx + (positions[v + 1] - spot[1]) * ny + (positions[v + 2] - spot[2]) * nz;
    x += shares[k] * height * nx;
    y += shares[k] * height * ny;
    z += shares[k] * height * nz;
    bend[0] += shares[k] * nx;
    bend[1] += shares[k] * ny;
    bend[2] += shares[k] * nz;
  }
  spot[0] += x / 2;
  spot[1] += y / 2;
  spot[2] += z / 2;
  const length = Math.sqrt(bend[0] ** 2 + bend[1] ** 2 + bend[2] ** 2);
  for (let axis = 0; axis < 3; axis++) bend[axis] /= length;
}
