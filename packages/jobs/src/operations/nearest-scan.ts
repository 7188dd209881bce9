import { type JobDocument, type JobScan, type Pose, rotate, type Vec3 } from '@lapjoint/engine';
import type { BlobStore } from '../store/blob-store.ts';
import { loadScan } from './load-scan.ts';
import { placedScans } from './result-record.ts';

/** The point of a job's scans that lies nearest to a place. */
export interface NearestScan {
  readonly scan: JobScan;
  /** mm. */
  readonly distance: number;
}

/** Share of the largest scan's size within which a place counts as one of its own. */
const NEAR_SHARE = 0.01;

/** Distance within which a place counts as one of a scan when nobody says otherwise: a hundredth of the largest scan, mm. */
export function usualNearness(document: JobDocument): number {
  const sizes = placedScans(document).map(({ bounds }) =>
    Math.hypot(...bounds.max.map((value, i) => value - (bounds.min[i] ?? 0))),
  );
  return NEAR_SHARE * Math.max(0, ...sizes);
}

function nearestOf(positions: Float32Array, origin: Vec3, place: Vec3): number {
  const [x, y, z] = [place[0] - origin[0], place[1] - origin[1], place[2] - origin[2]];
  let least = Infinity;
  for (let i = 0; i + 2 < positions.length; i += 3) {
    const a = (positions[i] as number) - x;
    const b = (positions[i + 1] as number) - y;
    const c = (positions[i + 2] as number) - z;
    const square = a * a + b * b + c * c;
    if (square < least) least = square;
  }
  return Math.sqrt(least);
}

/**
 * For each place the placed scan whose points come nearest; null where no scan is placed. Every scan is read once.
 *
 * @param places job frame, mm; with the frame whose scans alone count, or null for all
 */
export async function nearestScans(
  job: { readonly document: JobDocument; readonly blobs: BlobStore },
  places: readonly { readonly point: Vec3; readonly frame: string | null }[],
): Promise<(NearestScan | null)[]> {
  const { document, blobs } = job;
  const poses = new Map((document.alignment?.result.frames ?? []).map((pose) => [pose.frame, pose.jobFromFrame]));
  const found: (NearestScan | null)[] = places.map(() => null);
  for (const scan of placedScans(document)) {
    if (!places.some(({ frame }) => frame === null || frame === scan.frame)) continue;
    const { positions, origin } = await loadScan(blobs, document, scan);
    const { rotation: q, translation: t } = poses.get(scan.frame) as Pose;
    places.forEach(({ point, frame }, i) => {
      if (frame !== null && frame !== scan.frame) return;
      const back = rotate([q[0], -q[1], -q[2], -q[3]], [point[0] - t[0], point[1] - t[1], point[2] - t[2]]);
      const distance = nearestOf(positions, origin, back);
      if (distance < (found[i]?.distance ?? Infinity)) found[i] = { scan, distance };
    });
  }
  return found;
}
