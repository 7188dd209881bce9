import { pointCovariance } from '../adjust/index.ts';
import type { PosedScan } from '../fuse/index.ts';
import { IDENTITY_POSE, type Vec3 } from '../math/index.ts';
import { placementSigmas } from './frame-placement.ts';
import type { FuseScan } from './fuse-input.ts';

const ORIGIN: Vec3 = [0, 0, 0];

/** A scan as fusion takes it: placed, with the uncertainty of its place at every point. */
export function posedScan(scan: FuseScan, noise: number): PosedScan {
  const pose = scan.framePose;
  return {
    id: scan.id,
    scan: scan.data,
    jobFromScan: pose.jobFromFrame ?? IDENTITY_POSE,
    noise,
    viewpoint: scan.data.viewpoint,
    sigmaPose: (point: Vec3): number =>
      scan.placement
        ? placementSigmas(scan.placement, point, ORIGIN)[0]
        : // Semi-axis at k = 2, halved: a standard uncertainty.
          (pointCovariance(pose, point)?.largestSemiAxis ?? 0) / 2,
  };
}
