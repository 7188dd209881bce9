import type { Pose } from '../math/index.ts';
import type { ScanData } from '../model/index.ts';

/** A scan with its adjusted pose, ready to be fused. */
export interface FuseScan {
  readonly id: string;
  readonly data: ScanData;
  readonly jobFromScan: Pose;
  /** 6 x 6 covariance of the pose and its reference point, as in FramePose; null when unknown. */
  readonly covariance: readonly number[] | null;
  readonly covarianceReference: readonly [number, number, number] | null;
  readonly noise: number | null;
}
