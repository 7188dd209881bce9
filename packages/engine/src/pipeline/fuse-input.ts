import type { FramePose, JointCovariance, ScanData } from '../model/index.ts';

/** A scan with the adjusted pose of its frame, ready to be fused. */
export interface FuseScan {
  readonly id: string;
  readonly data: ScanData;
  /** Not refused: its `jobFromFrame` maps the scan's coordinates to the job's. */
  readonly framePose: FramePose;
  /** Standard deviation of a point along its normal from the instrument sheet, mm; null: estimated from the scan. */
  readonly noise: number | null;
  /** Covariance of its frame with the scale terms; none: from the pose alone. */
  readonly placement?: JointCovariance | null;
}
