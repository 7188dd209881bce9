/**
 * Neighbour searches over a fixed set of points.
 *
 * Units    those of the positions; squared distances are float32, computed as (dx dx + dy dy) + dz dz with every
 *          operation rounded to float32, so that every implementation finds the same neighbours in the same order.
 * Ties     equal squared distances: the lower index comes first.
 * Limits   squared distances that overflow float32 (1.8e19 units) count as none;
 *          points and queries with a coordinate that is no finite number have no neighbours and are nobody's neighbour.
 */
export interface PointIndex {
  readonly pointCount: number;
  /** The nearest point of each query, at most `maxDistance` away; -1 and Infinity where there is none. */
  nearest(queries: Float32Array, maxDistance: number, outIndex: Int32Array, outDistanceSquared: Float32Array): void;
  /** The k nearest points of each query, n x k, ascending; filled up with -1 and Infinity. */
  kNearest(queries: Float32Array, k: number, outIndex: Int32Array, outDistanceSquared: Float32Array): void;
  /** All points at most `radius` away; those of query i are `indices[offsets[i]]` to `indices[offsets[i + 1] - 1]`, ascending. */
  withinRadius(queries: Float32Array, radius: number): { offsets: Uint32Array; indices: Int32Array };
  /** Gives the memory back. The index must not be used afterwards. */
  dispose(): void;
}

/** Normals from the neighbourhood of each point. */
export interface EstimatedNormals {
  /** n x 3, unit length, sign arbitrary; 0 0 0 where the neighbours span no plane. */
  readonly normals: Float32Array;
  /** Surface variation l0 / (l0 + l1 + l2) of the neighbourhood's covariance: 0 flat, 1/3 a ball. */
  readonly variation: Float32Array;
}
