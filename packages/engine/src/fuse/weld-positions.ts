/** A mesh whose equal places are one vertex. */
export interface WeldedMesh {
  readonly positions: Float64Array;
  readonly triangles: Uint32Array;
  readonly colors: Uint8Array | null;
}

/**
 * Joins vertices at exactly the same place when the mesh comes as loose triangles, as from an STL file.
 *
 * Loose triangles have borders everywhere, which would make the whole scan count as border.
 *
 * @returns null when the mesh already shares its vertices (fewer than 2.5 vertices a triangle)
 */
export function weldPositions(
  positions: Float64Array,
  triangles: Uint32Array,
  colors: Uint8Array | null,
): WeldedMesh | null {
  const count = positions.length / 3;
  if (count < 0.8333 * triangles.length) return null;
  const order = Uint32Array.from({ length: count }, (_, i) => i).sort((a, b) => {
    for (let axis = 0; axis < 3; axis++) {
      const difference = positions[3 * a + axis] - positions[3 * b + axis];
      if (difference !== 0) return difference;
    }
    return a - b;
  });
  const joined = new Uint32Array(count);
  const kept: number[] = [];
  for (let n = 0; n < count; n++) {
    const i = order[n];
    const last = n > 0 ? order[n - 1] : i;
    const same =
      n > 0 &&
      positions[3 * i] === positions[3 * last] &&
      positions[3 * i + 1] === positions[3 * last + 1] &&
      positions[3 * i + 2] === positions[3 * last + 2];
    if (!same) kept.push(i);
    joined[i] = kept.length - 1;
  }
  const outPositions = new Float64Array(3 * kept.length);
  const outColors = colors ? new Uint8Array(3 * kept.length) : null;
  kept.forEach((i, n) => {
    for (let axis = 0; axis < 3; axis++) {
      outPositions[3 * n + axis] = positions[3 * i + axis];
      if (colors && outColors) outColors[3 * n + axis] = colors[3 * i + axis];
    }
  });
  return { positions: outPositions, triangles: triangles.map((v) => joined[v]), colors: outColors };
}
