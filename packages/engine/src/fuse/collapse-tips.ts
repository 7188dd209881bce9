import { buildMeshTopology, nextHalfEdge } from '../geometry/index.ts';

/** Edges shorter than this part of the resolution are no edges. */
const TIP_EDGE = 1e-3;
/** Collapsing a tip may leave another behind it; more rounds than this have not been seen to be needed. */
const MOST_ROUNDS = 4;

/**
 * Takes edges without length out of a mesh's border triangles, and the triangles without area that hang on them.
 *
 * At a border two cells may hold the same single crossing and so have their vertices on one spot; the two become one vertex.
 * Where that pinches the border, the vertex has to be split afterwards.
 *
 * @param positions xyz of the vertices
 * @returns the triangles that are left; vertices keep their numbers
 */
export function collapseTips(triangles: Uint32Array, positions: Float64Array, resolution: number): Uint32Array {
  const least = (TIP_EDGE * resolution) ** 2;
  let left = triangles;
  for (let round = 0; round < MOST_ROUNDS; round++) {
    const { opposite } = buildMeshTopology(left, positions.length / 3);
    const joined = new Map<number, number>();
    for (let h = 0; h < left.length; h++) {
      const t = h - (h % 3);
      if (opposite[t] >= 0 && opposite[t + 1] >= 0 && opposite[t + 2] >= 0) continue;
      const a = left[h];
      const b = left[nextHalfEdge(h)];
      const x = positions[3 * a] - positions[3 * b];
      const y = positions[3 * a + 1] - positions[3 * b + 1];
      const z = positions[3 * a + 2] - positions[3 * b + 2];
      if (x * x + y * y + z * z >= least) continue;
      // One collapse a vertex and round: chains of short edges go one after the other.
      if (joined.has(a) || joined.has(b)) continue;
      joined.set(Math.max(a, b), Math.min(a, b));
      joined.set(Math.min(a, b), Math.min(a, b));
    }
    if (joined.size === 0) return left;
    left = withJoined(left, joined);
  }
  return left;
}

function withJoined(triangles: Uint32Array, joined: ReadonlyMap<number, number>): Uint32Array {
  const out = new Uint32Array(triangles.length);
  let length = 0;
  for (let t = 0; t < triangles.length; t += 3) {
    const a = joined.get(triangles[t]) ?? triangles[t];
    const b = joined.get(triangles[t + 1]) ?? triangles[t + 1];
    const c = joined.get(triangles[t + 2]) ?? triangles[t + 2];
    if (a === b || b === c || c === a) continue;
    out[length++] = a;
    out[length++] = b;
    out[length++] = c;
  }
  return out.slice(0, length);
}
