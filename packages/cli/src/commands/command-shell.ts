import { type Command, InvalidArgumentError } from 'commander';
import { type CommandRun, type CommonOptions, runCommand } from '../run-command.ts';
import type { CliConsole } from '../terminal/cli-console.ts';

/** What a command needs to be registered: the program, the console, and where its exit code goes. */
export interface CommandShell {
  readonly program: Command;
  readonly console: CliConsole;
  setExitCode(exitCode: number): void;
}

function positiveInteger(text: string): number {
  const value = Number(text);
  if (!Number.isSafeInteger(value) || value < 1) throw new InvalidArgumentError('Give a whole number from 1 up.');
  return value;
}

/** A seed: any whole number from 0 up. */
export function seedFromText(text: string): number {
  const value = Number(text);
  if (text.trim() === '' || !Number.isSafeInteger(value) || value < 0) {
    throw new InvalidArgumentError('Give a whole number from 0 up.');
  }
  return value;
}

/** Any number. */
export function numberFromText(text: string): number {
  const value = Number(text);
  if (text.trim() === '' || !Number.isFinite(value)) {
    throw new InvalidArgumentError('Give a number with a decimal point, such as 23.5.');
  }
  return value;
}

/** A length in mm. */
export function lengthFromText(text: string): number {
  const value = Number(text);
  if (text.trim() === '' || !Number.isFinite(value) || value <= 0) {
    throw new InvalidArgumentError('Give a length in mm, such as 0.5.');
  }
  return value;
}

/**
 * Registers a command with the options that all have. Help shows the examples first.
 *
 * @param signature as commander reads it, for example `align <job>`
 */
export function defineCommand(
  shell: CommandShell,
  signature: string,
  description: string,
  examples: readonly string[],
): Command {
  return shell.program
    .command(signature)
    .description(description)
    .addHelpText('before', `Examples:\n${examples.map((example) => `  lapjoint ${example}\n`).join('')}`)
    .option('--json', 'print one JSON document with the result')
    .option('--events', 'print progress and messages as one JSON object a line')
    .option('--no-color', 'no colours (NO_COLOR and TERM=dumb do the same)')
    .option('--no-input', 'never ask anything')
    .option('--workers <count>', 'threads to use; the result is the same for any number', positiveInteger);
}

/** Runs the action of a command and keeps its exit code. */
export async function perform(
  shell: CommandShell,
  command: string,
  options: CommonOptions,
  action: (run: CommandRun) => Promise<number>,
): Promise<void> {
  shell.setExitCode(await runCommand(shell.console, command, options, action));
}
