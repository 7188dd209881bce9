import type { Pose, Vec3 } from '../math/index.ts';
import type { ScanData, Viewpoint } from '../model/index.ts';

/**
 * A scan with its place in the job: what fusion starts from.
 *
 * Units    mm. `viewpoint` is in the scan's frame, as in {@link ScanData}; null where nobody knows where the instrument stood.
 */
export interface PosedScan {
  readonly id: string;
  readonly scan: ScanData;
  readonly jobFromScan: Pose;
  /** Standard deviation of one point along its normal, mm. */
  readonly noise: number;
  /** Standard uncertainty of the scan's placement at a point of the job frame, mm; absent when the pose is taken as exact. */
  readonly sigmaPose?: (point: Vec3) => number;
  readonly viewpoint: Viewpoint | null;
}
