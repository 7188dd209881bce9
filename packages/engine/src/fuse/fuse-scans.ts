import type { Finding, RunContext } from '../base/index.ts';
import { fuseTile } from './fuse-tile.ts';
import type { FusedSurface } from './fused-surface.ts';
import { type FusionOptions, planFusion } from './fusion-plan.ts';
import type { FusionSamples } from './fusion-samples.ts';
import { cutTiles, tileInput } from './fusion-tile.ts';
import { measureFusionScan } from './measure-scan.ts';
import type { PosedScan } from './posed-scan.ts';
import { sampleFusionScan } from './sample-scan.ts';
import { stitchTiles } from './stitch-tiles.ts';
import type { TileResult } from './tile-result.ts';

/**
 * Fuses posed scans into one surface, here and now; a pool runs the same parts in its workers and gets the same bits.
 *
 * Method   see docs/fusion.md. Parts: {@link measureFusionScan}, `planFusion`, {@link sampleFusionScan}, {@link cutTiles},
 *          {@link fuseTile}, {@link stitchTiles}.
 * Units    mm, job frame.
 *
 * @throws AppError `fuse/nothing` when no scan shows any surface
 */
export async function fuseScans(
  posedScans: readonly PosedScan[],
  options: Partial<FusionOptions>,
  context: RunContext,
): Promise<FusedSurface> {
  const sorted = [...posedScans].sort((a, b) => (a.id < b.id ? -1 : a.id > b.id ? 1 : 0));
  const metas = [];
  for (const posed of sorted) {
    metas.push(measureFusionScan(posed));
    await context.checkpoint(0, 'measure the scans');
  }
  const plan = planFusion(metas, options);
  const samples: FusionSamples[] = [];
  const findings: Finding[] = [];
  for (const [n, posed] of sorted.entries()) {
    const sampled = sampleFusionScan(posed, plan);
    if (sampled.samples) samples.push(sampled.samples);
    findings.push(...sampled.findings);
    await context.checkpoint((0.3 * (n + 1)) / sorted.length, 'sample the scans');
  }
  const tiles = cutTiles(plan, samples);
  const results: TileResult[] = [];
  for (const [n, tile] of tiles.entries()) {
    results.push(fuseTile(tileInput(plan, tile, samples)));
    await context.checkpoint(0.3 + (0.6 * (n + 1)) / tiles.length, 'fuse tiles');
  }
  const surface = stitchTiles(plan, results, findings);
  await context.checkpoint(1, 'surface ready');
  return surface;
}
