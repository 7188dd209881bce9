import { formatLength, formatPercent } from '@lapjoint/engine';
import { type ShownJob, type ShownPose, type ShownTie, showJob } from '@lapjoint/jobs';
import { EXIT } from '../exit-code.ts';
import type { CommonOptions } from '../run-command.ts';
import { textTable } from '../terminal/text-table.ts';
import { type CommandShell, defineCommand, perform } from './command-shell.ts';

function sizeOf(bounds: { readonly min: readonly number[]; readonly max: readonly number[] }): string {
  return [0, 1, 2].map((i) => formatLength((bounds.max[i] ?? 0) - (bounds.min[i] ?? 0))).join(' x ') + ' mm';
}

/** Poses of scans as a table: one row a frame. */
export function posesText(poses: readonly ShownPose[]): string {
  const frames = [...new Map(poses.map((pose) => [pose.frame, pose])).values()];
  return textTable(
    ['frame', 'status', 'position (mm)', 'what is known'],
    frames.map((pose) => [
      pose.frame,
      pose.status,
      pose.jobFromScan === null ? '-' : [3, 7, 11].map((i) => (pose.jobFromScan?.[i] ?? 0).toFixed(3)).join(', '),
      [pose.message, pose.status === 'refused' ? pose.remedy : ''].filter((part) => part !== '').join(' '),
    ]),
  );
}

/** Ties with their residuals as a table. */
export function tiesText(ties: readonly ShownTie[]): string {
  return textTable(
    ['tie', 'kind', 'frames', 'status', 'count', 'rms', 'largest', 'overlap', 'weak directions'],
    ties.map((tie) => [
      tie.id,
      tie.kind,
      tie.frames.join(' - '),
      tie.status,
      String(Math.round(tie.count)),
      tie.rmsMm === null ? '-' : `${formatLength(tie.rmsMm)} mm`,
      tie.largestMm === null ? '-' : `${formatLength(tie.largestMm)} mm`,
      tie.overlapShare === null ? '-' : formatPercent(tie.overlapShare),
      tie.weakDirections.join('; ') || 'none',
    ]),
  );
}

function textOf(job: ShownJob): string {
  const parts = [`Job ${job.job.name}, seed ${job.job.seed}. Lengths in mm.\n`];
  if (job.scans.length + job.lists.length === 0) {
    return `${parts[0]}\nThis job has no scans yet. Add some: lapjoint add JOB FILE...\n`;
  }
  parts.push(
    textTable(
      ['scan', 'file', 'session', 'frame', 'instrument', 'points', 'triangles', 'unit', 'size'],
      job.scans.map((scan) => [
        scan.id,
        scan.name,
        scan.session,
        scan.frame,
        scan.instrument,
        String(scan.points),
        String(scan.triangles),
        `${scan.unit} (${scan.unitFrom === 'file' ? 'from the file' : 'stated'})`,
        sizeOf(scan.boundsMm),
      ]),
    ),
  );
  if (job.lists.length > 0) {
    parts.push(
      textTable(
        ['list', 'file', 'session', 'frame', 'kind', 'count'],
        job.lists.map((list) => [list.id, list.name, list.session, list.frame, list.kind, String(list.count)]),
      ),
    );
  }
  if (job.adjustment !== null) {
    const stale = job.adjustment.upToDate ? '' : ' (made before the last change of the job: run align again)';
    parts.push(`Alignment${stale}\n`, posesText(job.poses), tiesText(job.ties));
  } else {
    parts.push('Not aligned yet. Next: lapjoint align JOB\n');
  }
  if (job.fused !== null) {
    const stale = job.fused.upToDate ? '' : ' (made before the last change of the job: run fuse again)';
    parts.push(
      `Fused surface${stale}: ${job.fused.points} points, ${job.fused.triangles} triangles, ` +
        `resolution ${formatLength(job.fused.resolutionMm)} mm, size ${sizeOf(job.fused.boundsMm)}\n`,
    );
  }
  return parts.join('\n');
}

/** `show JOB`: all that is known. */
export function addShowCommand(shell: CommandShell): void {
  defineCommand(shell, 'show <job>', 'Show what a job holds and every result.', [
    'show cabin-job',
    'show cabin-job --json',
  ]).action((folder: string, options: CommonOptions) =>
    perform(shell, 'show', options, async (run) => {
      const job = await showJob(folder);
      run.result(job, textOf(job));
      run.sayFindings([
        ...job.scans.flatMap((scan) => scan.findings),
        ...(job.adjustment?.findings ?? []),
        ...(job.fused?.findings ?? []),
      ]);
      return EXIT.done;
    }),
  );
}
