import type { PreparedScan } from './prepared-scan.ts';

/**
 * Says which of two scans comes first, by what they are and not by the role they were given: then swapped roles run the
 * same computation and give exactly the inverse answer.
 *
 * @returns negative when `a` comes first, positive when `b` does, 0 for equal scans
 */
export function compareScans(a: PreparedScan, b: PreparedScan): number {
  // The smaller scan second: it is the one that is moved.
  const byCount = b.positions.length - a.positions.length;
  if (byCount !== 0) return byCount;
  if (a.radius !== b.radius) return b.radius - a.radius;
  for (let i = 0; i < a.positions.length; i++) {
    const d = a.positions[i] - b.positions[i];
    if (d !== 0) return d;
  }
  for (let i = 0; i < a.normals.length; i++) {
    const d = a.normals[i] - b.normals[i];
    if (d !== 0) return d;
  }
  return 0;
}
