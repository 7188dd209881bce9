import { buildPointIndex } from '../geometry/index.ts';
import type { PreparedScan } from './prepared-scan.ts';

/** The points of a scan within a distance (mm) of some of them, ascending. */
export function widenPoints(scan: Pick<PreparedScan, 'positions'>, points: Uint32Array, distance: number): Uint32Array {
  if (points.length === 0) return points;
  const chosen = new Float32Array(3 * points.length);
  for (let p = 0; p < points.length; p++) {
    chosen.set(scan.positions.subarray(3 * points[p], 3 * points[p] + 3), 3 * p);
  }
  const index = buildPointIndex(chosen);
  const count = scan.positions.length / 3;
  const nearest = new Int32Array(count);
  index.nearest(scan.positions, distance, nearest, new Float32Array(count));
  index.dispose();
  const out: number[] = [];
  for (let i = 0; i < count; i++) if (nearest[i] >= 0) out.push(i);
  return Uint32Array.from(out);
}
