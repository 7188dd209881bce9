import type { RunContext } from '../base/index.ts';
import { type FusedSurface, type SurfaceQuality, surfaceQuality } from '../fuse/index.ts';
import type { FuseScan } from './fuse-input.ts';
import { posedScan } from './posed-scan.ts';

/** Triangles looked at: a share of 0.01 % is 20 of them. */
const SAMPLES = 200_000;

/** Numbers that show whether the fused surface is what it should be, judged against the scans it was made from. */
export async function judgeFusedSurface(
  surface: FusedSurface,
  scans: readonly FuseScan[],
  context: RunContext,
): Promise<SurfaceQuality> {
  await context.checkpoint(0, 'judging the surface');
  const used = scans
    .filter((scan) => surface.scanIds.includes(scan.id))
    .map((scan) => posedScan(scan, scan.noise ?? 0));
  const quality = surfaceQuality(surface, used, { sampleLimit: SAMPLES });
  await context.checkpoint(1);
  return quality;
}
