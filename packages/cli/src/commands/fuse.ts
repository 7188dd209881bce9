import { formatLength } from '@lapjoint/engine';
import { countsOfJob, estimateFusion, estimateText, fuseJob, showJob, shownJob } from '@lapjoint/jobs';
import { EXIT } from '../exit-code.ts';
import type { CommandRun, CommonOptions } from '../run-command.ts';
import { type CommandShell, defineCommand, lengthFromText, perform } from './command-shell.ts';

interface FuseCommandOptions extends CommonOptions {
  readonly resolution?: number;
  readonly force?: boolean;
  readonly dryRun?: boolean;
}

async function dryRun(run: CommandRun, folder: string, options: FuseCommandOptions): Promise<number> {
  const job = await showJob(folder);
  const placed = new Set(job.poses.filter((pose) => pose.jobFromScan !== null).map((pose) => pose.scan));
  const counts = countsOfJob({ ...job, scans: job.scans.filter((scan) => placed.has(scan.id)) });
  // The last surface tells what the data's own resolution is.
  const own = job.fused?.resolutionMm;
  const finer = options.resolution === undefined || own === undefined ? 1 : Math.max(1, own / options.resolution);
  const estimate = estimateFusion(counts, run.host.runner.workerCount, finer);
  run.result(
    { schema: 'lapjoint/fuse', schemaVersion: 1, dryRun: true, scans: [...placed], counts, estimate },
    `Would fuse ${placed.size} placed scans with ${counts.points} points.\n${estimateText(estimate)}`,
  );
  return EXIT.done;
}

async function fuse(run: CommandRun, folder: string, options: FuseCommandOptions): Promise<number> {
  const { document, fused, reused } = await fuseJob(
    folder,
    options.resolution === undefined ? {} : { resolution: options.resolution },
    run.host,
    { force: options.force === true },
  );
  const shown = shownJob(document, { alignment: true, fused: true });
  const note = reused ? 'Nothing has changed since the last fusion; it still holds.\n' : '';
  run.result(
    { schema: 'lapjoint/fuse', schemaVersion: 1, reused, fused: shown.fused },
    `${note}Fused surface of ${fused.scans.length} scans: ${fused.pointCount} points, ${fused.triangleCount} triangles, ` +
      `resolution ${formatLength(fused.resolution)} mm.\n`,
  );
  run.sayFindings(fused.findings);
  const refused = fused.findings.some((finding) => finding.severity === 'refusal');
  return refused || fused.scans.length < document.scans.length ? EXIT.gateFailed : EXIT.done;
}

/** `fuse JOB`: one surface from all placed scans. */
export function addFuseCommand(shell: CommandShell): void {
  defineCommand(shell, 'fuse <job>', 'Make one surface from all placed scans of a job.', [
    'fuse cabin-job',
    'fuse cabin-job --resolution 0.5',
  ])
    .option(
      '--resolution <mm>',
      'edge length of the finest detail in mm; read from the data when left out',
      lengthFromText,
    )
    .option('--force', 'compute again even when nothing has changed')
    .option('--dry-run', 'only say what would be done, with time and memory')
    .action((folder: string, options: FuseCommandOptions) =>
      perform(shell, 'fuse', options, (run) =>
        options.dryRun === true ? dryRun(run, folder, options) : fuse(run, folder, options),
      ),
    );
}
