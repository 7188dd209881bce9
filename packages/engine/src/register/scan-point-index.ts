import { buildPointIndex, type PointIndex } from '../geometry/index.ts';
import type { PreparedScan } from './prepared-scan.ts';

const indices = new WeakMap<Float32Array, PointIndex>();

/** The search index over a prepared scan's points; built at the first call and kept with them. */
export function scanPointIndex(scan: Pick<PreparedScan, 'positions'>): PointIndex {
  const known = indices.get(scan.positions);
  if (known !== undefined) return known;
  const index = buildPointIndex(scan.positions);
  indices.set(scan.positions, index);
  return index;
}

/** Frees the search index of a prepared scan, if there is one; the next `scanPointIndex` builds it again. */
export function releaseScanPointIndex(scan: Pick<PreparedScan, 'positions'>): void {
  indices.get(scan.positions)?.dispose();
  indices.delete(scan.positions);
}
