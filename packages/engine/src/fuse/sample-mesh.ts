import { borderDistances } from './border-distance.ts';
import { SampleSink } from './fusion-samples.ts';

/**
 * Samples a mesh so that no place of it is further than about one resolution from a sample.
 *
 * Method   vertices stand for their share of the triangles around them, with the sum of the area vectors as normal (which
 *          noise in the vertices does not tilt as it tilts single triangles); triangles with an edge longer than the
 *          resolution are halved at their longest edge until they are small, and each piece gives one sample.
 *
 * @param positions float64 xyz in the plan's frame
 * @param featherWidth distances to the border are given up to this, mm
 */
export function sampleMesh(
  positions: Float64Array,
  triangles: Uint32Array,
  colors: Uint8Array | null,
  resolution: number,
  featherWidth: number,
): SampleSink {
  const vertexCount = positions.length / 3;
  const borders = borderDistances(positions, triangles, featherWidth);
  const sink = new SampleSink(vertexCount, colors !== null);
  const vectors = new Float64Array(positions.length);
  const splitter = makeSplitter(positions, colors, borders, resolution, sink);
  const longest = resolution * resolution;
  for (let t = 0; t + 2 < triangles.length; t += 3) {
    const a = triangles[t];
    const b = triangles[t + 1];
    const c = triangles[t + 2];
    const ux = positions[3 * b] - positions[3 * a];
    const uy = positions[3 * b + 1] - positions[3 * a + 1];
    const uz = positions[3 * b + 2] - positions[3 * a + 2];
    const vx = positions[3 * c] - positions[3 * a];
    const vy = positions[3 * c + 1] - positions[3 * a + 1];
    const vz = positions[3 * c + 2] - positions[3 * a + 2];
    const x = (uy * vz - uz * vy) / 2;
    const y = (uz * vx - ux * vz) / 2;
    const z = (ux * vy - uy * vx) / 2;
    const area = Math.sqrt(x * x + y * y + z * z);
    if (!(area > 0 && area < Infinity)) continue;
    const wx = ux - vx;
    const wy = uy - vy;
    const wz = uz - vz;
    const edge = Math.max(ux * ux + uy * uy + uz * uz, vx * vx + vy * vy + vz * vz, wx * wx + wy * wy + wz * wz);
    if (edge > longest) {
      splitter(a, b, c, x / area, y / area, z / area, area);
      continue;
    }
    for (const vertex of [a, b, c]) {
      vectors[3 * vertex] += x / 3;
      vectors[3 * vertex + 1] += y / 3;
      vectors[3 * vertex + 2] += z / 3;
    }
  }
  for (let v = 0; v < vertexCount; v++) {
    const x = vectors[3 * v];
    const y = vectors[3 * v + 1];
    const z = vectors[3 * v + 2];
    const area = Math.sqrt(x * x + y * y + z * z);
    if (!(area > 0)) continue;
    const i = sink.add(
      positions[3 * v],
      positions[3 * v + 1],
      positions[3 * v + 2],
      x / area,
      y / area,
      z / area,
      area,
      borders[v],
    );
    if (colors) sink.setColor(i, colors[3 * v], colors[3 * v + 1], colors[3 * v + 2]);
  }
  return sink;
}

type Splitter = (a: number, b: number, c: number, nx: number, ny: number, nz: number, area: number) => void;

/** Halves triangles at the longest edge until it is at most one resolution; each piece becomes a sample at its centroid. */
function makeSplitter(
  positions: Float64Array,
  colors: Uint8Array | null,
  borders: Float32Array,
  resolution: number,
  sink: SampleSink,
): Splitter {
  // Corners as barycentric coordinates of the triangle, 9 numbers a piece.
  const stack = new Float64Array(9 * 64);
  const shares = new Float64Array(64);
  const corner = new Float64Array(9);
  const limit = resolution * resolution;
  return (a, b, c, nx, ny, nz, area) => {
    let depth = 1;
    stack.set([1, 0, 0, 0, 1, 0, 0, 0, 1]);
    const vertices = [a, b, c];
    shares[0] = area;
    while (depth > 0) {
      depth--;
      const at = 9 * depth;
      const share = shares[depth];
      for (let k = 0; k < 3; k++) {
        for (let axis = 0; axis < 3; axis++) {
          let sum = 0;
          for (let v = 0; v < 3; v++) sum += stack[at + 3 * k + v] * positions[3 * vertices[v] + axis];
          corner[3 * k + axis] = sum;
        }
      }
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
      if (longest < 0 || depth + 2 > 62) {
        const u = (stack[at] + stack[at + 3] + stack[at + 6]) / 3;
        const v = (stack[at + 1] + stack[at + 4] + stack[at + 7]) / 3;
        const w = (stack[at + 2] + stack[at + 5] + stack[at + 8]) / 3;
        const i = sink.add(
          (corner[0] + corner[3] + corner[6]) / 3,
          (corner[1] + corner[4] + corner[7]) / 3,
          (corner[2] + corner[5] + corner[8]) / 3,
          nx,
          ny,
          nz,
          share,
          u * borders[a] + v * borders[b] + w * borders[c],
        );
        if (colors) {
          sink.setColor(
            i,
            u * colors[3 * a] + v * colors[3 * b] + w * colors[3 * c],
            u * colors[3 * a + 1] + v * colors[3 * b + 1] + w * colors[3 * c + 1],
            u * colors[3 * a + 2] + v * colors[3 * b + 2] + w * colors[3 * c + 2],
          );
        }
        continue;
      }
      // Piece (k, l, m) with longest edge k-l becomes (k, middle, m) and (middle, l, m).
      const k = longest;
      const l = (k + 1) % 3;
      for (let n = 0; n < 9; n++) stack[at + 9 + n] = stack[at + n];
      for (let v = 0; v < 3; v++) {
        const middle = (stack[at + 3 * k + v] + stack[at + 3 * l + v]) / 2;
        stack[at + 3 * l + v] = middle;
        stack[at + 9 + 3 * k + v] = middle;
      }
      shares[depth] = share / 2;
      shares[depth + 1] = share / 2;
      depth += 2;
    }
  };
}
