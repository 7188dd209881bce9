import {
  type JobDocument,
  type Pose,
  type RunContext,
  rotationMatrix,
  type SurfaceOutput,
  type Vec3,
} from '@lapjoint/engine';
import type { BlobStore } from '../store/blob-store.ts';
import { loadScan } from './load-scan.ts';
import { placedScans } from './result-record.ts';

/**
 * All points of all placed scans in the job's frame, with the number of their scan, and colours where any scan has
 * them (grey elsewhere). Null when no scan is placed.
 */
export async function mergedCloud(
  document: JobDocument,
  blobs: BlobStore,
  context: RunContext,
): Promise<SurfaceOutput | null> {
  const scans = placedScans(document);
  if (scans.length === 0) return null;
  const poses = new Map((document.alignment?.result.frames ?? []).map((pose) => [pose.frame, pose.jobFromFrame]));
  const count = scans.reduce((sum, scan) => sum + scan.pointCount, 0);
  const positions = new Float32Array(3 * count);
  const scanNumber = new Float32Array(count);
  const colors = scans.some((scan) => scan.hasColors) ? new Uint8Array(3 * count).fill(160) : null;
  let origin: Vec3 | null = null;
  let at = 0;
  for (const [number, scan] of scans.entries()) {
    const pose = poses.get(scan.frame) as Pose;
    const data = await loadScan(blobs, document, scan);
    const m = rotationMatrix(pose.rotation);
    const t = pose.translation;
    for (let i = 0; i < data.positions.length; i += 3) {
      const x = data.origin[0] + (data.positions[i] as number);
      const y = data.origin[1] + (data.positions[i + 1] as number);
      const z = data.origin[2] + (data.positions[i + 2] as number);
      const place: Vec3 = [
        m[0] * x + m[1] * y + m[2] * z + t[0],
        m[3] * x + m[4] * y + m[5] * z + t[1],
        m[6] * x + m[7] * y + m[8] * z + t[2],
      ];
      origin ??= place;
      positions[3 * at + i] = place[0] - origin[0];
      positions[3 * at + i + 1] = place[1] - origin[1];
      positions[3 * at + i + 2] = place[2] - origin[2];
    }
    if (colors !== null && data.colors !== null) colors.set(data.colors, 3 * at);
    scanNumber.fill(number + 1, at, at + scan.pointCount);
    at += scan.pointCount;
    await context.checkpoint((number + 1) / scans.length, `placing ${scan.name}`);
  }
  return { origin: origin ?? [0, 0, 0], positions, colors, properties: { scan_number: scanNumber } };
}
