/**
 * Matches of an overlap gathered in cells: neighbours share their instrument's errors, so means over patches are what an
 * adjustment looks at.
 *
 * Frames   that of scan B. Jacobian of the mean residual (distance of A from B along B's normal) in a small left motion of
 *          bFromA about the overlap's reference: order tx ty tz rx ry rz; its first three numbers are the normal.
 * Units    mm.
 */
export interface OverlapPatches {
  readonly count: number;
  /** Sums of the matches' weights. */
  readonly weights: Float64Array;
  /** Weighted mean places, xyz, true coordinates. */
  readonly places: Float64Array;
  /** Weighted standard deviation of the places about their mean along one axis of the surface. */
  readonly spreads: Float64Array;
  /** Weighted mean Jacobians, six a patch. */
  readonly jacobians: Float64Array;
  /** Weighted mean residuals. */
  readonly residuals: Float64Array;
}
