const fround = Math.fround;

/** Squared distance with every operation rounded to float32, as the contract of PointIndex states it. */
export function squaredDistance32(queries: Float32Array, i: number, positions: Float32Array, j: number): number {
  const dx = fround(queries[3 * i] - positions[3 * j]);
  const dy = fround(queries[3 * i + 1] - positions[3 * j + 1]);
  const dz = fround(queries[3 * i + 2] - positions[3 * j + 2]);
  return fround(fround(fround(dx * dx) + fround(dy * dy)) + fround(dz * dz));
}

/** All points in order of (distance, index): what every neighbour search must agree with. */
export function sortedNeighbours(queries: Float32Array, i: number, positions: Float32Array): [number, number][] {
  const all: [number, number][] = [];
  if (![0, 1, 2].every((axis) => Number.isFinite(queries[3 * i + axis]))) return all;
  for (let j = 0; 3 * j < positions.length; j++) {
    if ([0, 1, 2].every((axis) => Number.isFinite(positions[3 * j + axis]))) {
      all.push([squaredDistance32(queries, i, positions, j), j]);
    }
  }
  return all.filter((pair) => pair[0] < Infinity).sort((a, b) => a[0] - b[0] || a[1] - b[1]);
}
