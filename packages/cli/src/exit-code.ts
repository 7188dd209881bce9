import { AppError, CancelledError, FormatError } from '@lapjoint/engine';
import { CommanderError } from 'commander';

/** What a command tells the shell. The same numbers for all commands; documented in docs/errors.md. */
export const EXIT = {
  done: 0,
  failed: 1,
  wrongUsage: 2,
  inputInvalid: 3,
  gateFailed: 4,
  interrupted: 130,
} as const;

/** Codes of AppErrors that are about an input that cannot be read, or a job folder that cannot be. */
const INPUT_CODES: ReadonlySet<string> = new Set([
  'not-a-job',
  'journal-damaged',
  'job-newer',
  'blob-missing',
  'blob-changed',
]);
/** Codes of AppErrors that are about the words of the command line. */
const USAGE_CODES: ReadonlySet<string> = new Set([
  'wrong-usage',
  'frame-conflict',
  'instrument-conflict',
  'temperature-conflict',
  'temperature-incomplete',
  'temperature-invalid',
  'unknown-name',
]);

/** Codes of AppErrors that say: it ran, and there is no answer that could be trusted. */
const REFUSAL_CODES: ReadonlySet<string> = new Set([
  'nothing-fused',
  'fuse/nothing',
  'point-without-scan',
  'frame-refused',
]);

/** Exit code of an error. */
export function exitCodeOf(error: unknown): number {
  if (error instanceof CancelledError) return EXIT.interrupted;
  if (error instanceof CommanderError) {
    const calm = ['commander.helpDisplayed', 'commander.version'].includes(error.code);
    return calm ? EXIT.done : EXIT.wrongUsage;
  }
  if (error instanceof FormatError) return EXIT.inputInvalid;
  if (error instanceof AppError && INPUT_CODES.has(error.code)) return EXIT.inputInvalid;
  if (error instanceof AppError && USAGE_CODES.has(error.code)) return EXIT.wrongUsage;
  if (error instanceof AppError && REFUSAL_CODES.has(error.code)) return EXIT.gateFailed;
  return EXIT.failed;
}
