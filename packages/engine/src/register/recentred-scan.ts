import type { Vec3 } from '../math/index.ts';
import type { PreparedScan } from './prepared-scan.ts';

/** Centroid of the points in the scan's frame. */
export function middleOf(scan: PreparedScan): Vec3 {
  const n = scan.positions.length / 3;
  const sum = [0, 0, 0];
  for (let i = 0; i < scan.positions.length; i++) sum[i % 3] += scan.positions[i];
  return [scan.origin[0] + sum[0] / n, scan.origin[1] + sum[1] / n, scan.origin[2] + sum[2] / n];
}

/** The scan with centroid and radius of the points it now has. */
export function recentred(scan: PreparedScan): PreparedScan {
  const n = scan.positions.length / 3;
  const middle = middleOf(scan);
  const centroid: Vec3 = [middle[0] - scan.origin[0], middle[1] - scan.origin[1], middle[2] - scan.origin[2]];
  let squares = 0;
  for (let i = 0; i < scan.positions.length; i++) squares += (scan.positions[i] - centroid[i % 3]) ** 2;
  return { ...scan, centroid, radius: Math.sqrt(squares / n) };
}
