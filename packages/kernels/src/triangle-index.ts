/**
 * Closest points and ray hits over a fixed triangle mesh.
 *
 * Units    those of the positions. Vertices and queries are float32; the geometry is computed in float64 relative to
 *          the query and rounded to float32 at the end.
 * Ties     equal distances: the triangle with the lower index.
 * Limits   distances whose square overflows float32 (1.8e19 units) count as none;
 *          triangles without area count as their edges for closest points and are never hit by rays. Triangles and
 *          queries with a coordinate that is no finite number are left out (-1).
 */
export interface TriangleIndex {
  readonly triangleCount: number;
  /** The closest surface point of each query, at most `maxDistance` away; -1, NaN and Infinity where there is none. */
  closestPoints(
    queries: Float32Array,
    maxDistance: number,
    outTriangle: Int32Array,
    outPoint: Float32Array,
    outDistanceSquared: Float32Array,
  ): void;
  /** The first hit of each ray from either side; distance in lengths of the direction; -1 and Infinity where none. */
  castRays(
    origins: Float32Array,
    directions: Float32Array,
    maxDistance: number,
    outTriangle: Int32Array,
    outDistance: Float32Array,
  ): void;
  /** Gives the memory back. The index must not be used afterwards. */
  dispose(): void;
}
