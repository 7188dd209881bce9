import { type LengthUnit, MM_PER_UNIT, translate } from '@lapjoint/engine';
import type { UnitQuestion } from '@lapjoint/jobs';
import type { CommandRun } from './run-command.ts';
import { shownText, textTable } from './terminal/text-table.ts';

/** Units that a file can be in. */
export const UNITS: readonly LengthUnit[] = Object.keys(MM_PER_UNIT) as LengthUnit[];

/** Asks for the unit of a file at the terminal; null when the person gives none. */
export async function askUnit(run: CommandRun, { file, proposal }: UnitQuestion): Promise<LengthUnit | null> {
  run.pauseProgress();
  const catalogue = run.console.catalogue ?? null;
  const isOneOf = (answer: string, words: readonly string[]): boolean =>
    words.some((word) => answer === word || answer === translate(word, catalogue));
  const enter = proposal.unit === null ? 'Enter: leave the file out' : `Enter: ${proposal.unit}`;
  const sizes = textTable(
    ['unit', 'size of the scan'],
    proposal.candidates.map(({ unit, sizeMm }) => [
      unit,
      `${sizeMm.map((value) => Number(value.toPrecision(4))).join(' x ')} mm`,
    ]),
  );
  run.console.writeError(
    shownText(`${file} does not state its length unit. ${proposal.question}\n${sizes}`, catalogue),
  );
  for (;;) {
    const question = `Unit (${UNITS.join(', ')}; ${enter}; no: leave the file out): `;
    const answer = (await run.console.ask(translate(question, catalogue))).toLowerCase();
    if (answer === '' || isOneOf(answer, ['y', 'yes'])) return proposal.unit;
    if (isOneOf(answer, ['n', 'no'])) return null;
    const unit = UNITS.find((item) => item === answer);
    if (unit !== undefined) return unit;
    run.console.writeError(translate(`${answer} is none of ${UNITS.join(', ')}.\n`, catalogue));
  }
}
