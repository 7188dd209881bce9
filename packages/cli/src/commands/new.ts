import { newJob } from '@lapjoint/jobs';
import { EXIT } from '../exit-code.ts';
import type { CommonOptions } from '../run-command.ts';
import { type CommandShell, defineCommand, perform, seedFromText } from './command-shell.ts';

interface NewOptions extends CommonOptions {
  readonly name?: string;
  readonly seed?: number;
  readonly dryRun?: boolean;
}

/** `new JOB`: makes an empty job. */
export function addNewCommand(shell: CommandShell): void {
  defineCommand(shell, 'new <job>', 'Make an empty job in a new folder.', [
    'new cabin-job',
    'new cabin-job --name "Cabin 12" --seed 7',
  ])
    .option('--name <text>', 'name of the job; the folder name when left out')
    .option('--seed <number>', 'seed of all random choices; 1 when left out', seedFromText)
    .option('--dry-run', 'only say what would be done')
    .action((folder: string, options: NewOptions) =>
      perform(shell, 'new', options, async (run) => {
        if (options.dryRun === true) {
          run.result(
            { schema: 'lapjoint/new', schemaVersion: 1, dryRun: true, folder },
            `Would make a job in ${folder}.\n`,
          );
          return EXIT.done;
        }
        const { name, seed } = await newJob(folder, {
          ...(options.name === undefined ? {} : { name: options.name }),
          ...(options.seed === undefined ? {} : { seed: options.seed }),
        });
        run.result(
          { schema: 'lapjoint/new', schemaVersion: 1, folder, name, seed },
          `New job ${name} in ${folder}. Next: lapjoint add ${folder} FILE...\n`,
        );
        return EXIT.done;
      }),
    );
}
