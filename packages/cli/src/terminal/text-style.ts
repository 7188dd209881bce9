import type { CliConsole } from './cli-console.ts';

/** Marks of a text on a terminal that shows them; nothing elsewhere. */
export interface TextStyle {
  strong(text: string): string;
  alarm(text: string): string;
}

/**
 * Colours only where they are wanted: never with NO_COLOR, --no-color or TERM=dumb; always with FORCE_COLOR; otherwise
 * when messages go to a terminal.
 */
export function textStyleFor(console: CliConsole, colorOption: boolean): TextStyle {
  const { NO_COLOR, FORCE_COLOR, TERM } = console.environment;
  const forbidden = !colorOption || (NO_COLOR !== undefined && NO_COLOR !== '') || TERM === 'dumb';
  const forced = FORCE_COLOR !== undefined && FORCE_COLOR !== '' && FORCE_COLOR !== '0';
  const shown = !forbidden && (forced || console.errorIsTerminal);
  const mark = (code: number) => (text: string) => (shown ? `\u001b[${code}m${text}\u001b[0m` : text);
  return { strong: mark(1), alarm: mark(31) };
}
