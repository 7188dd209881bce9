import { AppError } from '@lapjoint/engine';
import { openJob, undoChange } from '@lapjoint/jobs';
import { EXIT } from '../exit-code.ts';
import type { CommonOptions } from '../run-command.ts';
import { type CommandShell, defineCommand, perform } from './command-shell.ts';

interface UndoOptions extends CommonOptions {
  readonly dryRun?: boolean;
}

function addOne(shell: CommandShell, direction: 'undo' | 'redo', description: string, done: string): void {
  defineCommand(shell, `${direction} <job>`, description, [`${direction} cabin-job`])
    .option('--dry-run', 'only say what would be done')
    .action((folder: string, options: UndoOptions) =>
      perform(shell, direction, options, async (run) => {
        const base = { schema: `lapjoint/${direction}`, schemaVersion: 1 };
        if (options.dryRun === true) {
          const { done: inForce, undone } = (await openJob(folder)).history;
          const next = direction === 'undo' ? inForce.slice(1).at(-1) : undone.at(-1);
          if (next === undefined) {
            throw new AppError(`nothing-to-${direction}`, `There is nothing to ${direction}.`, 'See log.');
          }
          run.result({ ...base, dryRun: true, change: next.summary }, `Would ${direction}: ${next.summary}\n`);
          return EXIT.done;
        }
        const result = await undoChange(folder, direction);
        const next = direction === 'undo' ? result.nextUndo : result.nextRedo;
        run.result(
          { ...base, ...result },
          `${done}: ${result.change}\n${next === null ? '' : `Next ${direction}: ${next}\n`}`,
        );
        return EXIT.done;
      }),
    );
}

/** `undo JOB` and `redo JOB`. */
export function addUndoCommands(shell: CommandShell): void {
  addOne(shell, 'undo', 'Take back the last change of a job.', 'Taken back');
  addOne(shell, 'redo', 'Bring back the change that was undone last.', 'Brought back');
}
