import type { Vec3 } from '../math/index.ts';
import type { Viewpoint } from '../model/index.ts';

/**
 * How the normals got their sign. `winding`: from the mesh. `given`: from the file. `viewpoint`: towards the instrument.
 * `propagated`: equal among neighbours, the sign of the whole is a guess. `none`: not decided.
 */
export type NormalOrientation = 'winding' | 'given' | 'viewpoint' | 'propagated' | 'none';

/**
 * A scan made ready for registration. Everything in it is the same for any order of the input points.
 *
 * Frames   the scan's own frame; true coordinate = origin + position. Units mm.
 * Order    points sorted by Morton code of their place in the scan's box, ties by coordinates: an order that does not
 *          depend on the order in the file. Plain data: it can be cloned and sent to a worker; the search index that
 *          belongs to it comes from `scanPointIndex`.
 */
export interface PreparedScan {
  readonly origin: Vec3;
  readonly positions: Float32Array;
  /** Unit normals, towards the outside (the side the instrument saw) where `oriented`. */
  readonly normals: Float32Array;
  /** True where the normals are known to point outside: their sign may be compared with another scan's. */
  readonly oriented: boolean;
  readonly orientation: NormalOrientation;
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
