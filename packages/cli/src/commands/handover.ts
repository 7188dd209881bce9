import { countsOfJob, estimateHandover, estimateText, handOver, showJob } from '@lapjoint/jobs';
import { EXIT } from '../exit-code.ts';
import type { CommandRun, CommonOptions } from '../run-command.ts';
import { textTable } from '../terminal/text-table.ts';
import { type CommandShell, defineCommand, perform } from './command-shell.ts';

interface HandoverCommandOptions extends CommonOptions {
  readonly truth?: string;
  readonly force?: boolean;
  readonly dryRun?: boolean;
}

function sizeText(byteLength: number): string {
  return byteLength < 1e6 ? `${Math.ceil(byteLength / 1e3)} kB` : `${(byteLength / 1e6).toFixed(1)} MB`;
}

async function handover(
  run: CommandRun,
  folder: string,
  output: string,
  options: HandoverCommandOptions,
): Promise<number> {
  const base = { schema: 'lapjoint/handover', schemaVersion: 1 };
  if (options.dryRun === true) {
    const estimate = estimateHandover(countsOfJob(await showJob(folder)));
    run.result(
      { ...base, dryRun: true, folder: output, estimate },
      `Would write model, cloud, poses, targets, report, record and manifest into ${output}.\n${estimateText(estimate)}`,
    );
    return EXIT.done;
  }
  const truth = options.truth === undefined ? {} : { truth: options.truth };
  const result = await handOver(folder, output, { ...truth, force: options.force === true }, run.host);
  run.result(
    { ...base, folder: result.folder, files: result.files },
    `Handed over in ${result.folder}:\n${textTable(
      ['file', 'size', 'content'],
      result.files.map(({ name, byteLength, content }) => [name, sizeText(byteLength), content]),
    )}`,
  );
  run.sayFindings(result.findings);
  return EXIT.done;
}

/** `handover JOB FOLDER`: the package that leaves the house. */
export function addHandoverCommand(shell: CommandShell): void {
  defineCommand(shell, 'handover <job> <folder>', 'Write model, cloud, poses, targets, report, record and manifest.', [
    'handover cabin-job out/',
  ])
    .option('--truth <file>', 'truth.json of a demo, for the report')
    .option('--force', 'write over files of an earlier handover in the same folder')
    .option('--dry-run', 'only say what would be done, with time and disk space')
    .action((folder: string, output: string, options: HandoverCommandOptions) =>
      perform(shell, 'handover', options, (run) => handover(run, folder, output, options)),
    );
}
