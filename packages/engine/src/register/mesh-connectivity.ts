/** What the triangles of a scan say about its points. */
export interface MeshConnectivity {
  /** Area-weighted sums of the triangle normals at each point, not normalised. */
  readonly normalSums: Float64Array;
  /** 1 at points of an edge with one triangle only, and at points of no triangle. */
  readonly border: Uint8Array;
  /** 1 at points that no triangle uses. */
  readonly unused: Uint8Array;
  /** Share of the edges between two triangles that both triangles run in the same direction: 0 for a consistent mesh. */
  readonly inconsistentShare: number;
}

interface CanonicalTriangles {
  readonly corners: Uint32Array;
}

/** Triangles on the canonical points, each from its lowest corner on, sorted, without degenerate or repeated ones. */
function canonicalTriangles(triangles: Uint32Array, place: Int32Array, pointCount: number): CanonicalTriangles {
  const count = Math.floor(triangles.length / 3);
  const turned = new Uint32Array(3 * count);
  let kept = 0;
  const start = new Uint32Array(pointCount + 1);
  for (let t = 0; t < count; t++) {
    const a = place[triangles[3 * t]] ?? -1;
    const b = place[triangles[3 * t + 1]] ?? -1;
    const c = place[triangles[3 * t + 2]] ?? -1;
    if (a < 0 || b < 0 || c < 0 || a === b || b === c || c === a) continue;
    const [i, j, k] = a < b && a < c ? [a, b, c] : b < c ? [b, c, a] : [c, a, b];
    turned[3 * kept] = i;
    turned[3 * kept + 1] = j;
    turned[3 * kept + 2] = k;
    start[i + 1]++;
    kept++;
  }
  for (let i = 0; i < pointCount; i++) start[i + 1] += start[i];
  const order = new Uint32Array(kept);
  const fill = start.slice();
  for (let t = 0; t < kept; t++) order[fill[turned[3 * t]]++] = t;
  const compare = (s: number, t: number): number =>
    turned[3 * s + 1] - turned[3 * t + 1] || turned[3 * s + 2] - turned[3 * t + 2];
  const corners = new Uint32Array(3 * kept);
  let out = 0;
  for (let i = 0; i < pointCount; i++) {
    const group = order.subarray(start[i], start[i + 1]);
    if (group.length > 1) group.sort(compare);
    for (let g = 0; g < group.length; g++) {
      if (g > 0 && compare(group[g - 1], group[g]) === 0) continue;
      const t = 3 * group[g];
      corners[out++] = turned[t];
      corners[out++] = turned[t + 1];
      corners[out++] = turned[t + 2];
    }
  }
  return { corners: corners.slice(0, out) };
}

/**
 * Reads normals, open borders and the consistency of the winding off a triangle mesh.
 *
 * Method   normals as area-weighted sums; edges grouped at their lower corner, linear in memory and time.
 *          Triangles are sorted first, so sums have the same bits for any order in the file.
 *
 * @param positions canonical points, xyz
 * @param triangles corners as input point numbers
 * @param placeOfInput canonical place of each input point, -1 where dropped
 */
export function readMeshConnectivity(
  positions: Float32Array,
  triangles: Uint32Array,
  placeOfInput: Int32Array,
): MeshConnectivity {
  const pointCount = positions.length / 3;
  const { corners } = canonicalTriangles(triangles, placeOfInput, pointCount);
  const normalSums = new Float64Array(3 * pointCount);
  const unused = new Uint8Array(pointCount).fill(1);
  const start = new Uint32Array(pointCount + 1);
  for (let t = 0; t < corners.length; t += 3) {
    const a = 3 * corners[t];
    const b = 3 * corners[t + 1];
    const c = 3 * corners[t + 2];
    const ux = positions[b] - positions[a];
    const uy = positions[b + 1] - positions[a + 1];
    const uz = positions[b + 2] - positions[a + 2];
    const vx = positions[c] - positions[a];
    const vy = positions[c + 1] - positions[a + 1];
    const vz = positions[c + 2] - positions[a + 2];
    const nx = uy * vz - uz * vy;
    const ny = uz * vx - ux * vz;
    const nz = ux * vy - uy * vx;
    for (const at of [a, b, c]) {
      normalSums[at] += nx;
      normalSums[at + 1] += ny;
      normalSums[at + 2] += nz;
      unused[at / 3] = 0;
    }
    for (let e = 0; e < 3; e++) start[Math.min(corners[t + e], corners[t + ((e + 1) % 3)]) + 1]++;
  }
  for (let i = 0; i < pointCount; i++) start[i + 1] += start[i];
  const other = new Uint32Array(corners.length);
  const upward = new Uint8Array(corners.length);
  const fill = start.slice();
  for (let t = 0; t < corners.length; t += 3) {
    for (let e = 0; e < 3; e++) {
      const from = corners[t + e];
      const to = corners[t + ((e + 1) % 3)];
      const at = fill[Math.min(from, to)]++;
      other[at] = Math.max(from, to);
      upward[at] = from < to ? 1 : 0;
    }
  }
  const border = unused.slice();
  let pairs = 0;
  let inconsistent = 0;
  for (let i = 0; i < pointCount; i++) {
    for (let s = start[i]; s < start[i + 1]; s++) {
      let uses = 0;
      let ups = 0;
      let first = true;
      for (let r = start[i]; r < start[i + 1]; r++) {
        if (other[r] !== other[s]) continue;
        if (r < s) first = false;
        uses++;
        ups += upward[r];
      }
      if (!first) continue;
      if (uses === 1) {
        border[i] = 1;
        border[other[s]] = 1;
      } else if (uses === 2) {
        pairs++;
        if (ups !== 1) inconsistent++;
      }
    }
  }
  return { normalSums, border, unused, inconsistentShare: pairs > 0 ? inconsistent / pairs : 0 };
}
