import { AppError, type Finding, type RunContext } from '../base/index.ts';
import {
  cutTiles,
  type FusedSurface,
  type FusionOptions,
  type FusionSamples,
  type FusionScanMeta,
  planFusion,
  type SampledScan,
  stitchTiles,
  type TileResult,
  tileInput,
} from '../fuse/index.ts';
import type { FuseScan } from './fuse-input.ts';
import type { TaskRunner } from './task-runner.ts';

/**
 * Fuses aligned scans into one surface, its parts on the task runner. Same bits for any number of workers.
 *
 * Frames   result in the job frame, mm.
 *
 * @throws AppError `fuse/nothing` when no scan shows any surface
 */
export async function fuseAlignedScans(
  scans: readonly FuseScan[],
  options: Partial<FusionOptions>,
  runner: TaskRunner,
  context: RunContext,
): Promise<FusedSurface> {
  const placed = scans
    .filter((scan) => scan.framePose.jobFromFrame !== null)
    .sort((a, b) => (a.id < b.id ? -1 : a.id > b.id ? 1 : 0));
  if (placed.length === 0) {
    throw new AppError('fuse/nothing', 'There is no placed scan to fuse.', 'Add scans and align them first.');
  }
  context.progress(0, 'measuring the scans');
  const metas = (await runner.run('measure-fusion-scan', placed, context.part(0, 0.1))) as FusionScanMeta[];
  const plan = planFusion(metas, options);
  context.progress(0.1, `sampling the scans at ${plan.resolution.toPrecision(3)} mm`);
  const inputs = placed.map((scan, index) => ({ scan, noise: metas[index].noise, plan }));
  const sampled = (await runner.run('sample-fusion-scan', inputs, context.part(0.1, 0.35))) as SampledScan[];
  const findings: Finding[] = [];
  const samples: FusionSamples[] = [];
  for (const part of sampled) {
    findings.push(...part.findings);
    if (part.samples !== null) samples.push(part.samples);
  }
  const tiles = cutTiles(plan, samples);
  context.progress(0.4, `fusing ${tiles.length} tiles`);
  const results: TileResult[] = [];
  // A batch at a time: only its samples are copied out, so memory stays with the batch, not with the object.
  const batch = 8 * Math.max(1, runner.workerCount);
  for (let from = 0; from < tiles.length; from += batch) {
    const to = Math.min(tiles.length, from + batch);
    const part = context.part(0.4 + (0.5 * from) / tiles.length, 0.4 + (0.5 * to) / tiles.length);
    const batchInputs = tiles.slice(from, to).map((tile) => tileInput(plan, tile, samples));
    results.push(...((await runner.run('fuse-tile', batchInputs, part)) as TileResult[]));
  }
  await context.checkpoint(0.92, 'joining the tiles');
  const surface = stitchTiles(plan, results, findings);
  await context.checkpoint(1, 'surface ready');
  return surface;
}
