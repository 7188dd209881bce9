import { createInterface } from 'node:readline/promises';
import type { TextCatalogue } from '@lapjoint/engine';

/** The outside world of a command: where it writes, what it may ask, and who can interrupt it. */
export interface CliConsole {
  /** Results. */
  writeOut(text: string): void;
  /** Messages and progress. */
  writeError(text: string): void;
  readonly errorStream: NodeJS.WriteStream | null;
  readonly errorIsTerminal: boolean;
  readonly inputIsTerminal: boolean;
  readonly environment: Readonly<Record<string, string | undefined>>;
  /** Bytes of the standard input, for the file name `-`; null when a person sits there. */
  readonly input?: AsyncIterable<Uint8Array> | null;
  /** Texts of the language that is shown; null or left out for English. */
  readonly catalogue?: TextCatalogue | null;
  ask(question: string): Promise<string>;
  /** Calls back on Ctrl+C and on a request to end; returns how to take the listener away. */
  onInterrupt(listener: () => void): () => void;
  /** Ends the program now, whatever it does. */
  endNow(exitCode: number): void;
}

/** The console of this process. */
export function processConsole(): CliConsole {
  // `| head` closes the pipe early; that is no failure.
  process.stdout.on('error', (error: NodeJS.ErrnoException) => {
    if (error.code !== 'EPIPE') throw error;
  });
  return {
    writeOut: (text) => {
      process.stdout.write(text);
    },
    writeError: (text) => {
      process.stderr.write(text);
    },
    errorStream: process.stderr,
    errorIsTerminal: process.stderr.isTTY === true,
    inputIsTerminal: process.stdin.isTTY === true && process.stderr.isTTY === true,
    environment: process.env,
    // Opened only when it is read: otherwise it would keep the program alive.
    get input() {
      return process.stdin.isTTY === true ? null : process.stdin;
    },
    ask: async (question) => {
      const lines = createInterface({ input: process.stdin, output: process.stderr });
      try {
        return (await lines.question(question)).trim();
      } finally {
        lines.close();
      }
    },
    onInterrupt: (listener) => {
      process.on('SIGINT', listener);
      process.on('SIGTERM', listener);
      return () => {
        process.off('SIGINT', listener);
        process.off('SIGTERM', listener);
      };
    },
    endNow: (exitCode) => process.exit(exitCode),
  };
}
