import { compose, invert, type Pose, rotationMatrix } from '../math/index.ts';
import type { PreparedScan } from './prepared-scan.ts';

/** How far apart two motions put points of a scan, across the surface, mm: positive where the part's place is outside. */
export function shiftsAcross(scan: PreparedScan, points: Uint32Array, rest: Pose, part: Pose): Float64Array {
  // The difference in the scan's own frame: where the rest has to take a point for the part's place.
  const change = compose(invert(rest), part);
  const r = rotationMatrix(change.rotation);
  const { origin, positions, normals } = scan;
  const shift = [0, 1, 2].map(
    (a) =>
      r[3 * a] * origin[0] + r[3 * a + 1] * origin[1] + r[3 * a + 2] * origin[2] - origin[a] + change.translation[a],
  );
  const out = new Float64Array(points.length);
  for (let p = 0; p < points.length; p++) {
    const at = 3 * points[p];
    let across = 0;
    for (let a = 0; a < 3; a++) {
      const moved = r[3 * a] * positions[at] + r[3 * a + 1] * positions[at + 1] + r[3 * a + 2] * positions[at + 2];
      across += normals[at + a] * (moved - positions[at + a] + shift[a]);
    }
    out[p] = across;
  }
  return out;
}
