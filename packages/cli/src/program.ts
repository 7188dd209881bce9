import { ENGINE_VERSION, type TextCatalogue, translate } from '@lapjoint/engine';
import { Command, CommanderError } from 'commander';
import { addAddCommand } from './commands/add.ts';
import { addAdviseCommand } from './commands/advise.ts';
import { addAlignCommand } from './commands/align.ts';
import type { CommandShell } from './commands/command-shell.ts';
import { addFuseCommand } from './commands/fuse.ts';
import { addHandoverCommand } from './commands/handover.ts';
import { addLogCommand } from './commands/log.ts';
import { addNewCommand } from './commands/new.ts';
import { addReportCommand } from './commands/report.ts';
import { addShowCommand } from './commands/show.ts';
import { addTieCommand } from './commands/tie.ts';
import { addUncertaintyCommand } from './commands/uncertainty.ts';
import { addUndoCommands } from './commands/undo.ts';
import { addVerifyCommand } from './commands/verify.ts';
import { addDemoCommand } from './demo/demo-command.ts';
import { EXIT, exitCodeOf } from './exit-code.ts';
import { errorText } from './run-command.ts';
import type { CliConsole } from './terminal/cli-console.ts';
import { chosenCatalogue, translatedHelp } from './terminal/language.ts';
import { textStyleFor } from './terminal/text-style.ts';

/** Commands in the order of the work. */
const COMMANDS: readonly ((shell: CommandShell) => void)[] = [
  addNewCommand,
  addAddCommand,
  addTieCommand,
  addAlignCommand,
  addFuseCommand,
  addReportCommand,
  addHandoverCommand,
  addShowCommand,
  addUncertaintyCommand,
  addAdviseCommand,
  addUndoCommands,
  addLogCommand,
  addVerifyCommand,
  addDemoCommand,
];

const EXAMPLES = `Examples:
  lapjoint new cabin-job
  lapjoint add cabin-job outside.ply --session outside --instrument tracked-laser --unit mm
  lapjoint align cabin-job
  lapjoint fuse cabin-job
  lapjoint report cabin-job
  lapjoint handover cabin-job out/

`;

/**
 * Runs the command line.
 *
 * @param words as typed after the program's name
 * @returns exit code: 0 done; 1 failed; 2 wrong usage; 3 input unreadable; 4 ran, but something was refused or is not
 *          within its limits; 130 interrupted
 */
export async function runCli(words: readonly string[], console: CliConsole): Promise<number> {
  let catalogue: TextCatalogue | null;
  try {
    catalogue = chosenCatalogue(words, console.environment);
  } catch (error) {
    console.writeError(errorText(error, textStyleFor(console, !words.includes('--no-color')).alarm));
    return exitCodeOf(error);
  }
  return runProgram(words, withCatalogue(console, catalogue), catalogue);
}

/** The same console, showing another language. Properties are looked up when used: input may be opened late. */
function withCatalogue(console: CliConsole, catalogue: TextCatalogue | null): CliConsole {
  return Object.create(console, { catalogue: { value: catalogue } }) as CliConsole;
}

async function runProgram(
  words: readonly string[],
  console: CliConsole,
  catalogue: TextCatalogue | null,
): Promise<number> {
  let exitCode: number = EXIT.done;
  // A page of help is made of translated texts; what stands around it is not.
  const helpBegin = translate('Usage:', catalogue);
  const shown = (text: string): string => (text.startsWith(helpBegin) ? text : translate(text, catalogue));
  const program = new Command('lapjoint');
  program
    .description('Align the scans of several instruments, fuse one surface, state the uncertainty.')
    .version(ENGINE_VERSION, '--version', 'print the version')
    .helpOption('-h, --help', 'show this help')
    .helpCommand('help [command]', 'show the help of a command')
    .addHelpText('before', EXAMPLES)
    .addHelpText(
      'after',
      '\nExit codes: 0 done, 1 failed, 2 wrong usage, 3 input unreadable, 4 refused or out of limits, 130 interrupted',
    )
    .configureOutput({
      writeOut: (text) => console.writeOut(shown(text)),
      writeErr: (text) => console.writeError(shown(text)),
    })
    .configureHelp(translatedHelp(catalogue))
    .showSuggestionAfterError(true)
    .exitOverride();
  const shell: CommandShell = {
    program,
    console,
    setExitCode: (code) => {
      exitCode = code;
    },
  };
  for (const addCommand of COMMANDS) addCommand(shell);
  for (const command of [program, ...program.commands]) {
    command
      .option('--language <tag>', 'language of texts, such as de; that of LC_ALL, LC_MESSAGES or LANG when left out')
      .option('--texts <file>', 'catalogue of texts to show instead');
  }
  if (words.length === 0) {
    console.writeError(program.helpInformation());
    return EXIT.wrongUsage;
  }
  try {
    await program.parseAsync(words, { from: 'user' });
  } catch (error) {
    if (!(error instanceof CommanderError)) throw error;
    return exitCodeOf(error);
  }
  return exitCode;
}
