import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { AppError, CancelledError, ENGINE_VERSION, FormatError } from '@lapjoint/engine';
import { CommanderError } from 'commander';
import { describe, expect, it } from 'vitest';
import { exitCodeOf } from '../../src/exit-code.ts';
import type { CliConsole } from '../../src/terminal/cli-console.ts';
import { progressLineFor, timeLeft } from '../../src/terminal/progress-line.ts';
import { textStyleFor } from '../../src/terminal/text-style.ts';
import { shownText, textTable } from '../../src/terminal/text-table.ts';

function consoleWith(errorIsTerminal: boolean, environment: Record<string, string>): CliConsole & { text: string } {
  return {
    text: '',
    writeOut: () => undefined,
    writeError(text) {
      this.text += text;
    },
    errorStream: null,
    errorIsTerminal,
    inputIsTerminal: false,
    environment,
    ask: async () => '',
    onInterrupt: () => () => undefined,
    endNow: () => undefined,
  };
}

describe('colour', () => {
  it.each([
    [true, {}, true, true],
    [false, {}, true, false],
    [true, {}, false, false],
    [true, { NO_COLOR: '1' }, true, false],
    [true, { NO_COLOR: '' }, true, true],
    [true, { TERM: 'dumb' }, true, false],
    [false, { FORCE_COLOR: '1' }, true, true],
    [false, { FORCE_COLOR: '0' }, true, false],
    [false, { FORCE_COLOR: '1', NO_COLOR: '1' }, true, false],
  ])('terminal %s, environment %j, option %s: %s', (terminal, environment, option, shown) => {
    const text = textStyleFor(consoleWith(terminal, environment as Record<string, string>), option).alarm('x');
    expect(text).toBe(shown ? '\u001b[31mx\u001b[0m' : 'x');
  });
});

describe('progress', () => {
  it('shows nothing when messages do not go to a terminal', () => {
    const recorder = consoleWith(false, {});
    const line = progressLineFor(recorder, 'align', false);
    line.update(0.5, 'half');
    line.stop();
    expect(recorder.text).toBe('');
  });

  it('gives the time left as a range until the rate is steady', () => {
    expect(timeLeft(0.01, 60_000)).toBe('');
    expect(timeLeft(0.5, 1000)).toBe('');
    // 10 s for a tenth: 90 s left, said as 45 to 180.
    expect(timeLeft(0.1, 10_000)).toBe('45 s to 3 min left');
    expect(timeLeft(0.5, 20_000)).toBe('about 20 s left');
  });
});

describe('exit codes', () => {
  it.each([
    [new FormatError('x', '', ''), 3],
    [new AppError('not-a-job', '', ''), 3],
    [new AppError('journal-damaged', '', ''), 3],
    [new AppError('disk-full', '', ''), 1],
    [new AppError('job-busy', '', ''), 1],
    [new AppError('unknown-name', '', ''), 2],
    [new AppError('nothing-fused', '', ''), 4],
    [new CancelledError(), 130],
    [new CommanderError(1, 'commander.unknownCommand', ''), 2],
    [new CommanderError(0, 'commander.helpDisplayed', ''), 0],
    [new TypeError('bug'), 1],
  ])('%o gives %i', (error, code) => {
    expect(exitCodeOf(error)).toBe(code);
  });
});

describe('the rest', () => {
  it('lays tables out in columns', () => {
    expect(
      shownText(
        textTable(
          ['a', 'name'],
          [
            ['1', 'x'],
            ['22', 'y'],
          ],
        ),
      ),
    ).toBe('a   name\n1   x\n22  y\n');
  });

  it('states the version of the packages', () => {
    for (const name of ['engine', 'jobs', 'cli']) {
      const path = join(import.meta.dirname, '..', '..', '..', name, 'package.json');
      expect(JSON.parse(readFileSync(path, 'utf8')).version).toBe(ENGINE_VERSION);
    }
  });
});
