import { type TextCatalogue, translate } from '@lapjoint/engine';
import { SingleBar } from 'cli-progress';
import type { CliConsole } from './cli-console.ts';

/** Shows how far a command is. */
export interface ProgressLine {
  update(fraction: number, note: string | undefined): void;
  /** Takes the line away, so that messages can be written; the next update brings it back. */
  stop(): void;
}

/** Work shorter than this needs no bar. */
const QUIET_MS = 700;
/** Time left is a guess until this much has passed. */
const STEADY_MS = 5000;

function inWords(timeMs: number): string {
  const seconds = Math.max(1, Math.round(timeMs / 1000));
  return seconds < 90 ? `${seconds} s` : `${Math.round(seconds / 60)} min`;
}

/** Time left in words: a range until the rate is steady, then one number; empty while nothing can be said. */
export function timeLeft(fraction: number, elapsedMs: number): string {
  if (fraction < 0.02 || elapsedMs < 2000) return '';
  const left = (elapsedMs * (1 - fraction)) / fraction;
  if (fraction > 0.25 && elapsedMs > STEADY_MS) return `about ${inWords(left)} left`;
  return `${inWords(left / 2)} to ${inWords(left * 2)} left`;
}

function barOn(stream: NodeJS.WriteStream, catalogue: TextCatalogue | null): ProgressLine {
  const start = performance.now();
  let bar: SingleBar | null = null;
  let note = '';
  return {
    update: (fraction, newNote) => {
      const elapsed = performance.now() - start;
      note = newNote ?? note;
      if (elapsed < QUIET_MS) return;
      const payload = { note: translate(note, catalogue), left: translate(timeLeft(fraction, elapsed), catalogue) };
      if (bar === null) {
        bar = new SingleBar({
          stream,
          format: '{bar} {percentage} %  {note}  {left}',
          barCompleteChar: '=',
          barIncompleteChar: '.',
          barsize: 24,
          clearOnComplete: true,
          hideCursor: true,
          // Interrupts are this program's own affair.
          gracefulExit: false,
        });
        bar.start(1000, Math.round(fraction * 1000), payload);
      } else {
        bar.update(Math.round(fraction * 1000), payload);
      }
    },
    stop: () => {
      bar?.stop();
      bar = null;
    },
  };
}

/** One JSON object a line, at most ten a second, for programs that watch. */
function eventLines(console: CliConsole, command: string): ProgressLine {
  let last = Number.NEGATIVE_INFINITY;
  let lastNote: string | undefined;
  return {
    update: (fraction, note) => {
      const now = performance.now();
      if (now - last < 100 && note === lastNote && fraction < 1) return;
      last = now;
      lastNote = note;
      const event = { event: 'progress', command, fraction: Math.round(fraction * 1e4) / 1e4, note: note ?? null };
      console.writeError(`${JSON.stringify(event)}\n`);
    },
    stop: () => undefined,
  };
}

/** Progress in the form that fits: events when asked for, a bar on a terminal, nothing else. */
export function progressLineFor(console: CliConsole, command: string, events: boolean): ProgressLine {
  if (events) return eventLines(console, command);
  const { errorStream, errorIsTerminal, environment } = console;
  if (errorStream !== null && errorIsTerminal && environment['TERM'] !== 'dumb')
    return barOn(errorStream, console.catalogue ?? null);
  return { update: () => undefined, stop: () => undefined };
}
