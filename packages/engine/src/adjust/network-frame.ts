import type { Vec3 } from '../math/index.ts';

/** A frame to be adjusted, with the point at which its pose and covariance are stated. */
export interface NetworkFrame {
  readonly frame: string;
  /** Best the centre of its scans, mm, in the frame; null: the centre of its observations. */
  readonly centre: Vec3 | null;
  /** rms distance of its points from there, mm; null: that of its observations. */
  readonly radius: number | null;
}
