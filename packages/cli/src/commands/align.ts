import { INSTRUMENTS, type InstrumentClass } from '@lapjoint/engine';
import {
  type AlignJobResult,
  alignJob,
  countsOfJob,
  estimateAlignment,
  estimateText,
  type ShownJob,
  showJob,
  shownJob,
} from '@lapjoint/jobs';
import { InvalidArgumentError, Option } from 'commander';
import { EXIT } from '../exit-code.ts';
import type { CommandRun, CommonOptions } from '../run-command.ts';
import { adjustmentText, tiesText } from './adjustment-text.ts';
import { type CommandShell, defineCommand, perform } from './command-shell.ts';
import { posesText } from './show.ts';

interface AlignCommandOptions extends CommonOptions {
  readonly estimateScale?: readonly InstrumentClass[];
  readonly force?: boolean;
  readonly dryRun?: boolean;
}

function textOf(job: ShownJob, reused: boolean): string {
  const note = reused ? 'Nothing has changed since the last alignment; it still holds.\n' : '';
  return `${note}${posesText(job.poses)}\n${tiesText(job.ties)}\n${adjustmentText(job.adjustment)}`;
}

async function dryRun(run: CommandRun, folder: string): Promise<number> {
  const job = await showJob(folder);
  const counts = countsOfJob(job);
  const estimate = estimateAlignment(counts, run.host.runner.workerCount);
  run.result(
    { schema: 'lapjoint/align', schemaVersion: 1, dryRun: true, frames: job.frames, counts, estimate },
    `Would place ${counts.frames} frames with ${counts.points} points in one, ` +
      `${counts.blindPairs} pairs of frames without a guess.\n${estimateText(estimate)}`,
  );
  return EXIT.done;
}

async function align(run: CommandRun, folder: string, options: AlignCommandOptions): Promise<number> {
  const result: AlignJobResult = await alignJob(folder, { estimateScale: options.estimateScale ?? [] }, run.host, {
    force: options.force === true,
  });
  const job = shownJob(result.document, { alignment: true, fused: false });
  run.result(
    {
      schema: 'lapjoint/align',
      schemaVersion: 1,
      reused: result.reused,
      poses: job.poses,
      ties: job.ties,
      adjustment: job.adjustment,
    },
    textOf(job, result.reused),
  );
  run.sayFindings(result.alignment.findings);
  const refused = result.alignment.result.frames.filter((pose) => pose.status === 'refused');
  for (const { frame, message, remedy } of refused) {
    if (!result.alignment.findings.some((finding) => finding.severity === 'refusal' && finding.subject === frame)) {
      run.sayFindings([{ severity: 'refusal', code: 'frame-refused', subject: frame, message, remedy }]);
    }
  }
  return refused.length > 0 ? EXIT.gateFailed : EXIT.done;
}

function collectClass(text: string, before: readonly InstrumentClass[] = []): readonly InstrumentClass[] {
  if (!(text in INSTRUMENTS)) {
    throw new InvalidArgumentError(`Allowed choices are ${Object.keys(INSTRUMENTS).join(', ')}.`);
  }
  return before.includes(text as InstrumentClass) ? before : [...before, text as InstrumentClass];
}

/** `align JOB`: places all frames in one. */
export function addAlignCommand(shell: CommandShell): void {
  defineCommand(shell, 'align <job>', 'Place all frames of a job in one; no guess is needed.', [
    'align cabin-job',
    'align cabin-job --json',
    'align cabin-job --estimate-scale handheld-laser',
  ])
    .addOption(
      new Option(
        '--estimate-scale <class>',
        'let the adjustment find the scale of a class of instruments, held by its sheet; may be repeated',
      ).argParser(collectClass),
    )
    .option('--force', 'compute again even when nothing has changed')
    .option('--dry-run', 'only say what would be done, with time and memory')
    .action((folder: string, options: AlignCommandOptions) =>
      perform(shell, 'align', options, (run) =>
        options.dryRun === true ? dryRun(run, folder) : align(run, folder, options),
      ),
    );
}
