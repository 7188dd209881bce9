import { AppError, CancelledError, type Finding, FormatError, type TextCatalogue, translate } from '@lapjoint/engine';
import { type OperationHost, WorkerPool } from '@lapjoint/jobs';
import { EXIT, exitCodeOf } from './exit-code.ts';
import type { CliConsole } from './terminal/cli-console.ts';
import { progressLineFor } from './terminal/progress-line.ts';
import { textStyleFor } from './terminal/text-style.ts';
import { shownText } from './terminal/text-table.ts';

/** Options that every command has. */
export interface CommonOptions {
  readonly json?: boolean;
  readonly events?: boolean;
  readonly color?: boolean;
  readonly input?: boolean;
  readonly workers?: number;
}

/** What a command works with. */
export interface CommandRun {
  readonly console: CliConsole;
  /** For operations: workers, stop signal, progress. */
  readonly host: OperationHost;
  /** Whether a person can be asked. */
  readonly mayAsk: boolean;
  /** Prints the result: `document` with --json, otherwise the text. */
  result(document: object, text: string): void;
  /** A message for people, or an event. */
  say(text: string): void;
  /** Warnings and refusals; notes stay in the result. */
  sayFindings(findings: readonly Finding[]): void;
  /** Takes the progress line away before a question. */
  pauseProgress(): void;
}

function describe(error: unknown): Record<string, unknown> {
  if (error instanceof CancelledError) {
    const hint = 'What was finished is kept; run the same command again to go on.';
    return { code: 'interrupted', message: error.message, hint };
  }
  if (error instanceof AppError) {
    const place = error instanceof FormatError ? error.place : {};
    return { code: error.code, message: error.message, hint: error.hint, ...place };
  }
  const message = error instanceof Error ? error.message : String(error);
  return { code: 'internal', message, hint: 'This is a fault of the program; please report it with the command used.' };
}

/** An error for people: what happened, where, what to do, and its code. */
export function errorText(
  error: unknown,
  alarm: (text: string) => string,
  catalogue: TextCatalogue | null = null,
): string {
  const shown = (text: string): string => translate(text, catalogue);
  const { code, message, hint } = describe(error);
  // A person who stopped it knows that nothing went wrong.
  const lines = [
    code === 'interrupted' ? shown(String(message)) : `${alarm(shown('error:'))} ${shown(String(message))}`,
  ];
  if (error instanceof FormatError) {
    const { file, line, byteOffset } = error.place;
    const place = [
      file !== undefined && !error.message.includes(file) ? file : '',
      line === undefined ? '' : shown(`line ${line}`),
      byteOffset === undefined ? '' : shown(`byte ${byteOffset}`),
    ].filter((part) => part !== '');
    if (place.length > 0) lines.push(`  ${shown('where:')} ${place.join(', ')}`);
  }
  if (hint !== '') lines.push(`  ${shown('what to do:')} ${shown(String(hint))}`);
  if (code !== 'interrupted') lines.push(`  ${shown('code:')} ${code}`);
  if (code === 'internal' && error instanceof Error && error.stack !== undefined) lines.push(error.stack);
  return `${lines.join('\n')}\n`;
}

/**
 * Runs one command: progress, Ctrl+C (once: stop cleanly; twice: stop now), errors with what to do, exit code.
 *
 * @returns exit code
 */
export async function runCommand(
  console: CliConsole,
  command: string,
  options: CommonOptions,
  action: (run: CommandRun) => Promise<number>,
): Promise<number> {
  const catalogue = console.catalogue ?? null;
  const style = textStyleFor(console, options.color !== false);
  const progress = progressLineFor(console, command, options.events === true);
  const controller = new AbortController();
  const runner = new WorkerPool(options.workers === undefined ? {} : { workerCount: options.workers });
  const say = (text: string): void => {
    progress.stop();
    console.writeError(
      options.events === true
        ? `${JSON.stringify({ event: 'message', command, text: shownText(text) })}\n`
        : `${shownText(text, catalogue)}\n`,
    );
  };
  const stopListening = console.onInterrupt(() => {
    if (controller.signal.aborted) console.endNow(EXIT.interrupted);
    controller.abort();
    say('Stopping; what is finished is kept. Ctrl+C once more stops at once.');
  });
  const run: CommandRun = {
    console,
    host: {
      runner,
      signal: controller.signal,
      onProgress: progress.update,
      catalogue,
      // Looked up only when an operation reads it: an open input keeps the program alive.
      get input() {
        return console.input ?? null;
      },
    },
    mayAsk: options.input !== false && console.inputIsTerminal && options.json !== true && options.events !== true,
    result: (document, text) => {
      progress.stop();
      console.writeOut(options.json === true ? `${JSON.stringify(document, null, 2)}\n` : shownText(text, catalogue));
    },
    say,
    sayFindings: (findings) => {
      for (const finding of findings) {
        if (finding.severity === 'note') continue;
        if (options.events === true) {
          console.writeError(`${JSON.stringify({ event: 'finding', command, ...finding })}\n`);
        } else {
          const refused = finding.severity === 'refusal';
          const word = translate(refused ? 'refused:' : 'warning:', catalogue);
          const text = `${translate(finding.message, catalogue)} ${translate(finding.remedy, catalogue)}`.trimEnd();
          progress.stop();
          console.writeError(`${refused ? style.alarm(word) : style.strong(word)} ${finding.subject}: ${text}\n`);
        }
      }
    },
    pauseProgress: () => progress.stop(),
  };
  try {
    return await action(run);
  } catch (error) {
    progress.stop();
    const exitCode = exitCodeOf(error);
    if (options.json === true) {
      console.writeOut(
        `${JSON.stringify({ schema: `lapjoint/${command}`, schemaVersion: 1, error: describe(error) }, null, 2)}\n`,
      );
    }
    if (options.events === true) {
      console.writeError(`${JSON.stringify({ event: 'error', command, exitCode, ...describe(error) })}\n`);
    } else {
      console.writeError(errorText(error, style.alarm, catalogue));
    }
    return exitCode;
  } finally {
    progress.stop();
    stopListening();
    await runner.close();
  }
}
