/** Number of xyz triples in a buffer. */
export function tripleCount(buffer: Float32Array, name: string): number {
  if (buffer.length % 3 !== 0)
    throw new RangeError(`${name} holds ${buffer.length} numbers, which are no xyz triples.`);
  return buffer.length / 3;
}

/** Refuses an output buffer that is too short. */
export function requireLength(buffer: { readonly length: number }, length: number, name: string): void {
  if (buffer.length < length) throw new RangeError(`${name} holds ${buffer.length} numbers; ${length} are needed.`);
}

/** Refuses a distance that is negative or no number; Infinity is welcome. */
export function requireDistance(value: number, name: string): void {
  if (!(value >= 0)) throw new RangeError(`${name} must not be negative: ${value}.`);
}

/** Refuses a neighbour count that is no positive whole number. */
export function requireNeighbourCount(k: number): void {
  if (!(Number.isInteger(k) && k >= 1)) throw new RangeError(`The number of neighbours must be 1 or more: ${k}.`);
}

/** Refuses triangles that do not fit the vertices. */
export function requireTriangles(triangles: Uint32Array, vertexCount: number): void {
  if (triangles.length % 3 !== 0) throw new RangeError(`${triangles.length} vertex indices are no triangles.`);
  for (let i = 0; i < triangles.length; i++) {
    if (triangles[i] >= vertexCount) {
      throw new RangeError(`Triangle ${Math.floor(i / 3)} names vertex ${triangles[i]} of ${vertexCount}.`);
    }
  }
}
