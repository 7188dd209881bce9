import { pointCovariance, pointUncertainty } from '../adjust/index.ts';
import type { PosedScan } from '../fuse/index.ts';
import { IDENTITY_POSE, type Vec3 } from '../math/index.ts';
import type { FuseScan } from './fuse-input.ts';

/** A scan as fusion takes it: placed, with the uncertainty of its place at every point. */
export function posedScan(scan: FuseScan, noise: number): PosedScan {
  const pose = scan.framePose;
  return {
    id: scan.id,
    scan: scan.data,
    jobFromScan: pose.jobFromFrame ?? IDENTITY_POSE,
    noise,
    viewpoint: scan.data.viewpoint,
    // Semi-axis at k = 2, halved: a standard uncertainty.
    sigmaPose: (point: Vec3): number => {
      const stated = scan.placement
        ? pointUncertainty(scan.placement, pose.frame, point)
        : pointCovariance(pose, point);
      return (stated?.largestSemiAxis ?? 0) / 2;
    },
  };
}
