import { AppError, type LengthUnit } from '@lapjoint/engine';
import { readPicks, STANDARD_INPUT, type TieOptions, tieJob, withSource } from '@lapjoint/jobs';
import { Option } from 'commander';
import { askUnit, UNITS } from '../ask-unit.ts';
import { EXIT } from '../exit-code.ts';
import type { CommandRun, CommonOptions } from '../run-command.ts';
import { type CommandShell, defineCommand, lengthFromText, perform } from './command-shell.ts';

interface TieCommandOptions extends CommonOptions {
  readonly a?: string;
  readonly b?: string;
  readonly unit?: LengthUnit;
  readonly sigma?: number;
  readonly name?: string;
  readonly dryRun?: boolean;
}

async function tie(run: CommandRun, folder: string, file: string, options: TieCommandOptions): Promise<number> {
  const base = { schema: 'lapjoint/tie', schemaVersion: 1 };
  if (options.dryRun === true) {
    if (file === STANDARD_INPUT) {
      throw new AppError(
        'wrong-usage',
        'With --dry-run nothing is read from the standard input.',
        'Name a file, or leave --dry-run out.',
      );
    }
    const { picks } = await withSource(file, readPicks);
    run.result({ ...base, dryRun: true, pairs: picks.length }, `Would add ${picks.length} picked pairs of ${file}.\n`);
    return EXIT.done;
  }
  const { a, b, unit, sigma, name } = options;
  const chosen: TieOptions = {
    ...(a === undefined ? {} : { a }),
    ...(b === undefined ? {} : { b }),
    ...(unit === undefined ? {} : { unit }),
    ...(sigma === undefined ? {} : { sigma }),
    ...(name === undefined ? {} : { name }),
    ...(run.mayAsk ? { askUnit: (question) => askUnit(run, question) } : {}),
  };
  const result = await tieJob(folder, file, chosen, run.host);
  const ties = result.ties.map((item) => ({
    id: item.id,
    kind: item.kind,
    frames: [item.frameA, item.frameB],
    count: item.kind === 'picked' ? item.pairs.length : 0,
  }));
  run.result(
    { ...base, ties },
    ties.map(({ id, frames, count }) => `${id}: ${count} picked pairs between ${frames.join(' and ')}\n`).join(''),
  );
  run.sayFindings(result.findings);
  return EXIT.done;
}

/** `tie JOB FILE`: picked pairs. */
export function addTieCommand(shell: CommandShell): void {
  defineCommand(shell, 'tie <job> <file>', 'Read picked pairs of points that link two frames.', [
    'tie cabin-job picks.csv --unit mm',
    'tie cabin-job picks.csv --a outside --b inside --sigma 3 --unit mm',
  ])
    .option('--a <name>', 'scan, session or frame of the first points, where the file does not name it')
    .option('--b <name>', 'scan, session or frame of the second points, where the file does not name it')
    .addOption(new Option('--unit <unit>', 'length unit of the numbers in the file').choices(UNITS))
    .option(
      '--sigma <mm>',
      'standard uncertainty of a picked coordinate in mm; 0.5 % of the size when left out',
      lengthFromText,
    )
    .option('--name <file>', 'name of what comes from the standard input, where the file is -')
    .option('--dry-run', 'only say what would be done')
    .action((folder: string, file: string, options: TieCommandOptions) =>
      perform(shell, 'tie', options, (run) => tie(run, folder, file, options)),
    );
}
