/**
 * Distance of every vertex to the border of its mesh along the mesh's edges, capped.
 *
 * Method   a vertex is on the border when the triangles around it do not close: the exclusive or of all next and previous
 *          neighbours is then not zero. Distances by relaxation over the edges until nothing changes, which ends in the
 *          same numbers for any order of the triangles.
 *
 * @returns mm, 0 on the border, at most `cap`; vertices without triangles have `cap`
 */
export function borderDistances(positions: Float64Array, triangles: Uint32Array, cap: number): Float32Array {
  const vertexCount = positions.length / 3;
  const open = new Uint32Array(vertexCount);
  const sums = new Float64Array(vertexCount);
  for (let t = 0; t + 2 < triangles.length; t += 3) {
    const a = triangles[t];
    const b = triangles[t + 1];
    const c = triangles[t + 2];
    open[a] ^= (b + 1) ^ (c + 1);
    open[b] ^= (c + 1) ^ (a + 1);
    open[c] ^= (a + 1) ^ (b + 1);
    sums[a] += b - c;
    sums[b] += c - a;
    sums[c] += a - b;
  }
  const distances = new Float32Array(vertexCount).fill(cap);
  for (let v = 0; v < vertexCount; v++) if (open[v] !== 0 || sums[v] !== 0) distances[v] = 0;
  let changed = true;
  while (changed) {
    changed = false;
    for (let t = 0; t + 2 < triangles.length; t += 3) {
      for (let k = 0; k < 3; k++) {
        const a = triangles[t + k];
        const b = triangles[t + ((k + 1) % 3)];
        const from = Math.min(distances[a], distances[b]);
        if (!(from < cap)) continue;
        const length = Math.sqrt(
          (positions[3 * a] - positions[3 * b]) ** 2 +
            (positions[3 * a + 1] - positions[3 * b + 1]) ** 2 +
            (positions[3 * a + 2] - positions[3 * b + 2]) ** 2,
        );
        const reach = Math.fround(from + length);
        if (reach < distances[a]) {
          distances[a] = reach;
          changed = true;
        }
        if (reach < distances[b]) {
          distances[b] = reach;
          changed = true;
        }
      }
    }
  }
  return distances;
}
