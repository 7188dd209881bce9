import { type LengthUnit, MM_PER_UNIT } from '@lapjoint/engine';
import type { UnitQuestion } from '@lapjoint/jobs';
import type { CommandRun } from './run-command.ts';
import { textTable } from './terminal/text-table.ts';

/** Units that a file can be in. */
export const UNITS: readonly LengthUnit[] = Object.keys(MM_PER_UNIT) as LengthUnit[];

/** Asks for the unit of a file at the terminal; null when the person gives none. */
export async function askUnit(run: CommandRun, { file, proposal }: UnitQuestion): Promise<LengthUnit | null> {
  run.pauseProgress();
  const enter = proposal.unit === null ? 'Enter: leave the file out' : `Enter: ${proposal.unit}`;
  const sizes = textTable(
    ['unit', 'size of the scan'],
    proposal.candidates.map(({ unit, sizeMm }) => [
      unit,
      `${sizeMm.map((value) => Number(value.toPrecision(4))).join(' x ')} mm`,
    ]),
  );
  run.console.writeError(`${file} does not state its length unit. ${proposal.question}\n${sizes}`);
  for (;;) {
    const question = `Unit (${UNITS.join(', ')}; ${enter}; no: leave the file out): `;
    const answer = (await run.console.ask(question)).toLowerCase();
    if (answer === '' || answer === 'y' || answer === 'yes') return proposal.unit;
    if (answer === 'n' || answer === 'no') return null;
    const unit = UNITS.find((item) => item === answer);
    if (unit !== undefined) return unit;
    run.console.writeError(`${answer} is none of ${UNITS.join(', ')}.\n`);
  }
}
