import { logJob } from '@lapjoint/jobs';
import { EXIT } from '../exit-code.ts';
import type { CommonOptions } from '../run-command.ts';
import { type CommandShell, defineCommand, perform } from './command-shell.ts';

/** `log JOB`: the history. */
export function addLogCommand(shell: CommandShell): void {
  defineCommand(shell, 'log <job>', 'List the history of a job, oldest first.', [
    'log cabin-job',
    'log cabin-job --json',
  ]).action((folder: string, options: CommonOptions) =>
    perform(shell, 'log', options, async (run) => {
      const entries = await logJob(folder);
      const text = entries.map(({ sequence, time, summary, state }) => {
        const mark = state === null || state === 'in force' ? '' : `  (${state})`;
        return `${String(sequence).padStart(4)}  ${time.slice(0, 19)}Z  ${summary}${mark}\n`;
      });
      run.result({ schema: 'lapjoint/log', schemaVersion: 1, entries }, text.join(''));
      return EXIT.done;
    }),
  );
}
