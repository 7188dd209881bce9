import { type AdviseJobResult, adviseJob } from '@lapjoint/jobs';
import { EXIT } from '../exit-code.ts';
import type { CommonOptions } from '../run-command.ts';
import { textTable } from '../terminal/text-table.ts';
import { type CommandShell, defineCommand, lengthFromText, perform } from './command-shell.ts';
import { uncertaintyText } from './uncertain-number.ts';

interface AdviseCommandOptions extends CommonOptions {
  readonly wantedU?: number;
}

type PlaceParts = AdviseJobResult['advice']['candidates'][number]['after'];

function textOf({ advice, largest, obstacles, leave }: AdviseJobResult): string {
  const parts: string[] = [];
  if (leave !== null) parts.push(`Is it safe to leave? ${leave.words}\n`);
  if (advice.worst !== null) parts.push(`Least held by ties: ${advice.worst.words}\n`);
  if (largest !== null) {
    const place = largest.place.map((value) => value.toFixed(0)).join(', ');
    parts.push(
      `Largest U anywhere, with the instrument: ${uncertaintyText(largest.expanded)} (k = 2), frame ${largest.frame} at (${place}) mm\n`,
    );
  }
  const { candidates } = advice;
  if (candidates.length > 0) {
    parts.push(
      `What would help most, one tie at a time (U of the place above from its placement, k = 2):\n${textTable(
        ['no.', 'U now', 'U then', 'of it ties', 'largest anywhere', 'what to add'],
        candidates.map((candidate, i) => [
          `${i + 1}`,
          uncertaintyText(candidate.before.total),
          uncertaintyText(candidate.after.total),
          uncertaintyText(candidate.after.ties),
          uncertaintyText(candidate.largestAfter),
          [candidate.words, candidate.remark].filter((words) => words !== '').join(' '),
        ]),
      )}`,
    );
  }
  if (advice.remark !== '') parts.push(`${advice.remark}\n`);
  if (obstacles.length > 0) parts.push(`Mind:\n${obstacles.map(({ words }) => `  ${words}\n`).join('')}`);
  return parts.join('\n');
}

function shownParts({ total, ties, scale }: PlaceParts): object {
  return { totalMm: total, tiesMm: ties, scaleAndTemperatureMm: scale };
}

function documentOf({ advice, largest, obstacles, leave, upToDate }: AdviseJobResult): object {
  const { worst } = advice;
  return {
    schema: 'lapjoint/advise',
    schemaVersion: 1,
    upToDate,
    coverageFactor: 2,
    safeToLeave: leave === null ? null : { answer: leave.isSafe, wantedMm: leave.wanted, words: leave.words },
    largest: largest === null ? null : { frame: largest.frame, placeMm: largest.place, expandedMm: largest.expanded },
    worst:
      worst === null
        ? null
        : {
            frame: worst.frame,
            placeMm: worst.place,
            direction: worst.direction,
            expandedParts: shownParts(worst.uncertainty),
            radiusMm: worst.radius,
            distanceFromDatumMm: worst.distanceFromDatum,
            distanceFromTieMm: worst.distanceFromTie,
            words: worst.words,
          },
    candidates: advice.candidates.map((candidate) => ({
      kind: candidate.kind,
      frames: [candidate.frameA, candidate.frameB],
      placeMm: candidate.place,
      secondPlaceMm: candidate.placeB,
      radiusMm: candidate.radius,
      before: shownParts(candidate.before),
      after: shownParts(candidate.after),
      largestAfterMm: candidate.largestAfter,
      largestAfterFrame: candidate.largestAfterFrame,
      largestAfterPlaceMm: candidate.largestAfterPlace,
      words: candidate.words,
      remark: candidate.remark,
    })),
    remark: advice.remark,
    obstacles,
  };
}

/** `advise JOB`: what would help most, and whether it is safe to leave. */
export function addAdviseCommand(shell: CommandShell): void {
  defineCommand(shell, 'advise <job>', 'Say which added target, overlap or scan helps most; is it safe to leave?', [
    'advise cabin-job',
    'advise cabin-job --wanted-u 0.5',
    'advise cabin-job --json',
  ])
    .option(
      '--wanted-u <mm>',
      'uncertainty (k = 2) that every captured place should keep; exit code 4 when one does not',
      lengthFromText,
    )
    .action((folder: string, options: AdviseCommandOptions) =>
      perform(shell, 'advise', options, async (run) => {
        const result = await adviseJob(folder, options.wantedU ?? null, run.host);
        run.result(documentOf(result), textOf(result));
        return result.leave === null || result.leave.isSafe ? EXIT.done : EXIT.gateFailed;
      }),
    );
}
