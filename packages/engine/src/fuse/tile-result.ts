/**
 * The piece of the surface that one tile owns. Plain data.
 *
 * Vertices are named by keys that depend on the grid cell alone, so pieces of any tiling fit together.
 */
export interface TileResult {
  readonly index: number;
  /** Ascending. ((z 65536 + y) 65536 + x) 8 + loop. */
  readonly keys: Float64Array;
  readonly positions: Float64Array;
  readonly normals: Float32Array;
  readonly colors: Uint8Array | null;
  readonly colored: Uint8Array | null;
  readonly sourceOffsets: Uint32Array;
  readonly sourceScans: Uint16Array;
  readonly sourceShares: Uint8Array;
  readonly sigmaNoise: Float32Array;
  readonly sigmaAlignment: Float32Array;
  readonly disagreement: Float32Array;
  /** Own vertices with several sources, how many of them have sources that do not agree, and their largest disagreement, mm. */
  readonly severalCount: number;
  readonly apartCount: number;
  readonly largestApart: number;
  /** Four corners a quadrangle: a vertex of this tile, or -1 - n for entry n of `foreignKeys`. */
  readonly quads: Int32Array;
  /** Place of each quadrangle in the order of the whole surface. */
  readonly quadKeys: Float64Array;
  readonly foreignKeys: Float64Array;
}

/** Key of a vertex: grid cell and loop. */
export function vertexKey(x: number, y: number, z: number, loop: number): number {
  return ((z * 65536 + y) * 65536 + x) * 8 + Math.min(7, loop);
}
