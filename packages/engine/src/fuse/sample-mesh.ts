import { borderDistances } from './border-distance.ts';
import { SampleSink } from './fusion-samples.ts';
import { makeTriangleSplitter } from './split-triangle.ts';

/** Triangles with no edge longer than this many resolutions are stood for by their vertices: the diagonal of a grid cell fits. */
const VERTEX_EDGE = 1.5;
/** Least say of a vertex whose own triangles are folded against the surface, as a share of their area vector. */
const LEAST_PROJECTION = 0.1;

/**
 * Samples a mesh so that no place of it is further than about one resolution from a sample.
 *
 * Method   vertices stand for their share of the triangles around them, with the sum of the area vectors as normal (which
 *          noise in the vertices does not tilt as it tilts single triangles); larger triangles are cut into pieces, and each
 *          piece gives one sample ({@link makeTriangleSplitter}).
 *
 * @param positions float64 xyz in the plan's frame
 * @param featherWidth distances to the border are given up to this, mm
 * @param smoothing how often the area vectors are summed over the triangles around each vertex before they give the normal:
 *        none for a scan whose noise is small against its spacing; along the mesh, so never across a thin wall
 */
export function sampleMesh(
  positions: Float64Array,
  triangles: Uint32Array,
  colors: Uint8Array | null,
  resolution: number,
  featherWidth: number,
  smoothing: number,
): SampleSink {
  const vertexCount = positions.length / 3;
  const borders = borderDistances(positions, triangles, featherWidth);
  const sink = new SampleSink(vertexCount, colors !== null);
  const vectors = new Float64Array(positions.length);
  const large: number[] = [];
  const longest = (VERTEX_EDGE * resolution) ** 2;
  for (let t = 0; t + 2 < triangles.length; t += 3) {
    if (addAreaVector(positions, triangles, t, longest, vectors)) large.push(t);
  }
  let facings: Float64Array = vectors;
  for (let round = 0; round < smoothing; round++) facings = sumAround(facings, triangles);
  addVertexSamples(sink, positions, { vectors, facings }, borders, colors);
  if (large.length === 0) return sink;
  const normals = vectors;
  for (const t of large) addAreaVector(positions, triangles, t, Infinity, normals);
  const splitter = makeTriangleSplitter({ positions, normals, colors, borders, resolution, sink });
  for (const t of large) splitter(triangles[t], triangles[t + 1], triangles[t + 2]);
  return sink;
}

/** Gives each corner a third of the triangle's area vector; returns true, and gives nothing, when an edge is too long. */
function addAreaVector(
  positions: Float64Array,
  triangles: Uint32Array,
  t: number,
  longest: number,
  vectors: Float64Array,
): boolean {
  const a = 3 * triangles[t];
  const b = 3 * triangles[t + 1];
  const c = 3 * triangles[t + 2];
  const ux = positions[b] - positions[a];
  const uy = positions[b + 1] - positions[a + 1];
  const uz = positions[b + 2] - positions[a + 2];
  const vx = positions[c] - positions[a];
  const vy = positions[c + 1] - positions[a + 1];
  const vz = positions[c + 2] - positions[a + 2];
  const x = (uy * vz - uz * vy) / 6;
  const y = (uz * vx - ux * vz) / 6;
  const z = (ux * vy - uy * vx) / 6;
  const size = x * x + y * y + z * z;
  if (!(size > 0 && size < Infinity)) return false;
  const wx = ux - vx;
  const wy = uy - vy;
  const wz = uz - vz;
  if (ux * ux + uy * uy + uz * uz > longest) return true;
  if (vx * vx + vy * vy + vz * vz > longest) return true;
  if (wx * wx + wy * wy + wz * wz > longest) return true;
  vectors[a] += x;
  vectors[a + 1] += y;
  vectors[a + 2] += z;
  vectors[b] += x;
  vectors[b + 1] += y;
  vectors[b + 2] += z;
  vectors[c] += x;
  vectors[c + 1] += y;
  vectors[c + 2] += z;
  return false;
}

/** For each vertex the sum of the vectors of all corners of its triangles. */
function sumAround(vectors: Float64Array, triangles: Uint32Array): Float64Array {
  const sums = new Float64Array(vectors.length);
  for (let t = 0; t + 2 < triangles.length; t += 3) {
    const a = 3 * triangles[t];
    const b = 3 * triangles[t + 1];
    const c = 3 * triangles[t + 2];
    for (let axis = 0; axis < 3; axis++) {
      const sum = vectors[a + axis] + vectors[b + axis] + vectors[c + axis];
      sums[a + axis] += sum;
      sums[b + axis] += sum;
      sums[c + axis] += sum;
    }
  }
  return sums;
}

function addVertexSamples(
  sink: SampleSink,
  positions: Float64Array,
  surface: { readonly vectors: Float64Array; readonly facings: Float64Array },
  borders: Float32Array,
  colors: Uint8Array | null,
): void {
  const { vectors, facings } = surface;
  for (let v = 0; v < borders.length; v++) {
    const x = vectors[3 * v];
    const y = vectors[3 * v + 1];
    const z = vectors[3 * v + 2];
    const length = Math.sqrt(facings[3 * v] ** 2 + facings[3 * v + 1] ** 2 + facings[3 * v + 2] ** 2);
    const size = Math.sqrt(x * x + y * y + z * z);
    if (!(length > 0 && size > 0)) continue;
    const nx = facings[3 * v] / length;
    const ny = facings[3 * v + 1] / length;
    const nz = facings[3 * v + 2] / length;
    const area = Math.max(LEAST_PROJECTION * size, x * nx + y * ny + z * nz);
    const i = sink.add(positions[3 * v], positions[3 * v + 1], positions[3 * v + 2], nx, ny, nz, area, borders[v]);
    if (colors) sink.setColor(i, colors[3 * v], colors[3 * v + 1], colors[3 * v + 2]);
  }
}
