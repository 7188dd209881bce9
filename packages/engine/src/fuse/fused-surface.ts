import type { Finding } from '../base/index.ts';
import type { Vec3 } from '../math/index.ts';

/**
 * One surface made from all scans, in the job frame.
 *
 * Units    mm; true coordinate of vertex i = origin + positions[3i..3i+2].
 * Layout   structure of arrays, one entry a vertex unless said otherwise.
 * Mesh     every edge has one or two triangles, every vertex one fan; counter-clockwise seen from outside. Edges with one
 *          triangle are where the data ends.
 */
export interface FusedSurface {
  readonly origin: Vec3;
  readonly positions: Float32Array;
  readonly normals: Float32Array;
  /** sRGB, 3 bytes a vertex; null when no source has colour. */
  readonly colors: Uint8Array | null;
  /** 1 where the colour was measured, 0 where it is only filled with grey; null when `colors` is. */
  readonly colored: Uint8Array | null;
  readonly triangles: Uint32Array;
  /** Ids of the scans that the numbers in `sourceScans` and `dominantSource` stand for. */
  readonly scanIds: readonly string[];
  /** The sources of vertex i are entries sourceOffsets[i] to sourceOffsets[i + 1] - 1, most important first. */
  readonly sourceOffsets: Uint32Array;
  readonly sourceScans: Uint16Array;
  /** Share of the source in the vertex, 255 = all of it. */
  readonly sourceShares: Uint8Array;
  readonly dominantSource: Uint16Array;
  /** Standard uncertainty along the normal from the instruments' noise, mm: sources independent, points of one source not. */
  readonly sigmaNoise: Float32Array;
  /** Standard uncertainty from the placement of the sources, mm; sources taken as fully correlated. */
  readonly sigmaAlignment: Float32Array;
  /** How far the sources lie apart along the normal here, mm: weighted standard deviation between scans, 0 for one source. */
  readonly disagreement: Float32Array;
  /** Edge length of the grid, mm. Detail smaller than this is not in the surface. */
  readonly resolution: number;
  readonly findings: readonly Finding[];
}
