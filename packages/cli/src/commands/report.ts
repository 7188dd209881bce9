import {
  countsOfJob,
  estimateReport,
  estimateText,
  type ReportOptions,
  reportJob,
  reportText,
  showJob,
} from '@lapjoint/jobs';
import { EXIT } from '../exit-code.ts';
import type { CommandRun, CommonOptions } from '../run-command.ts';
import { type CommandShell, defineCommand, perform } from './command-shell.ts';

interface ReportCommandOptions extends CommonOptions {
  readonly output?: string;
  readonly truth?: string;
  readonly force?: boolean;
  readonly dryRun?: boolean;
}

async function report(run: CommandRun, folder: string, options: ReportCommandOptions): Promise<number> {
  const base = { schema: 'lapjoint/report', schemaVersion: 1 };
  if (options.dryRun === true) {
    const target = options.output ?? `${folder}/report.html`;
    const estimate = estimateReport(countsOfJob(await showJob(folder)));
    run.result({ ...base, dryRun: true, path: target, estimate }, `Would write ${target}.\n${estimateText(estimate)}`);
    return EXIT.done;
  }
  if (options.output === '-') {
    run.console.writeOut(await reportText(folder, options.truth ?? null, run.host));
    return EXIT.done;
  }
  const chosen: ReportOptions = {
    ...(options.output === undefined ? {} : { output: options.output }),
    ...(options.truth === undefined ? {} : { truth: options.truth }),
    force: options.force === true,
  };
  const result = await reportJob(folder, chosen, run.host);
  run.result({ ...base, ...result }, `Report: ${result.path}\n`);
  return EXIT.done;
}

/** `report JOB`: one HTML file. */
export function addReportCommand(shell: CommandShell): void {
  defineCommand(shell, 'report <job>', 'Write the report of a job: one HTML file, self-contained, printable.', [
    'report cabin-job',
    'report cabin-job --output cabin.html',
  ])
    .option('--output <file>', 'file to write, - for standard output; report.html in the job folder when left out')
    .option('--truth <file>', 'truth.json of a demo, to compare the results with')
    .option('--force', 'overwrite a file that is not an earlier report of this job')
    .option('--dry-run', 'only say what would be done')
    .action((folder: string, options: ReportCommandOptions) =>
      perform(shell, 'report', options, (run) => report(run, folder, options)),
    );
}
