import type { Pose } from '../math/index.ts';
import { type LabelledScan, REST } from './moved-part-labels.ts';
import type { PreparedScan } from './prepared-scan.ts';
import { motionOf, movePoints, toLocalPose } from './rigid-motion.ts';

/** Size of the zone around a region, in its diagonals: the part reaches on to where it moved too little to be seen. */
const ZONE_MARGIN = 0.3;

/** Coordinates of some points of a scan, moved to where another stores its own. */
export function placesOf(
  scan: PreparedScan,
  points: Uint32Array,
  other: PreparedScan,
  otherFromScan: Pose,
): Float64Array {
  const places = new Float64Array(3 * points.length);
  for (let p = 0; p < points.length; p++) {
    for (let a = 0; a < 3; a++) places[3 * p + a] = scan.positions[3 * points[p] + a];
  }
  movePoints(motionOf(toLocalPose(otherFromScan, other, scan)), places, places);
  return places;
}

/**
 * The points of a scan in and around the box of some places, all labelled as of the rest.
 *
 * @param places stored coordinates of the scan, xyz
 * @param taken 1 for points that belong to another part
 */
export function zoneAround(scan: PreparedScan, places: Float64Array, taken: Uint8Array): LabelledScan {
  const low = [Infinity, Infinity, Infinity];
  const high = [-Infinity, -Infinity, -Infinity];
  for (let i = 0; i < places.length; i++) {
    low[i % 3] = Math.min(low[i % 3], places[i]);
    high[i % 3] = Math.max(high[i % 3], places[i]);
  }
  const margin = ZONE_MARGIN * Math.hypot(high[0] - low[0], high[1] - low[1], high[2] - low[2]);
  const { positions } = scan;
  const count = positions.length / 3;
  const zone: number[] = [];
  for (let i = 0; i < count; i++) {
    if (taken[i] === 1) continue;
    let isInside = true;
    for (let a = 0; a < 3 && isInside; a++) {
      const value = positions[3 * i + a];
      isInside = value >= low[a] - margin && value <= high[a] + margin;
    }
    if (isInside) zone.push(i);
  }
  return { scan, zone: Uint32Array.from(zone), labels: new Int8Array(count).fill(REST) };
}
