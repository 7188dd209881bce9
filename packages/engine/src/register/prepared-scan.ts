import type { Vec3 } from '../math/index.ts';
import type { Viewpoint } from '../model/index.ts';

/**
 * A scan made ready for registration. Everything in it is the same for any order of the input points.
 *
 * Frames   the scan's own frame; true coordinate = origin + position. Units mm.
 * Order    points sorted by Morton code of their place in the scan's box, ties by coordinates: an order that does not
 *          depend on the order in the file.
 */
export interface PreparedScan {
  readonly origin: Vec3;
  readonly positions: Float32Array;
  /** Unit normals, towards the outside (the side the instrument saw) where `oriented`. */
  readonly normals: Float32Array;
  readonly oriented: boolean;
  /** 1 where the point lies at an open border of the scan (its neighbourhood is one-sided), else 0. */
  readonly border: Uint8Array;
  readonly viewpoint: Viewpoint | null;
  /** Median distance to the nearest neighbour, mm. */
  readonly spacing: number;
  /** Estimated standard deviation of a point along its normal, mm. */
  readonly noise: number;
  /** Root mean square distance of the points from their centroid, mm. */
  readonly radius: number;
  /** Centroid relative to `origin`, mm. */
  readonly centroid: Vec3;
}
