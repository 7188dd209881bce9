import type { Vec3 } from '@lapjoint/engine';
import { type StatedPoint, type StatedUncertainty, type UncertaintyParts, uncertaintyOfJob } from '@lapjoint/jobs';
import { InvalidArgumentError } from 'commander';
import { EXIT } from '../exit-code.ts';
import type { CommonOptions } from '../run-command.ts';
import { textTable } from '../terminal/text-table.ts';
import { type CommandShell, defineCommand, lengthFromText, perform } from './command-shell.ts';
import { decimalsFor, uncertaintyText, valueText } from './uncertain-number.ts';

interface UncertaintyCommandOptions extends CommonOptions {
  readonly at: Vec3;
  readonly frame?: string;
  readonly to?: Vec3;
  readonly toFrame?: string;
  readonly within?: number;
}

/** A place in mm: three numbers with commas or blanks between. */
export function placeFromText(text: string): Vec3 {
  const numbers = text
    .trim()
    .split(/\s*[,;]\s*|\s+/)
    .map((field) => (field === '' ? Number.NaN : Number(field)));
  const [x, y, z] = numbers;
  if (numbers.length !== 3 || !numbers.every(Number.isFinite)) {
    throw new InvalidArgumentError('Give x,y,z in mm with decimal points, such as 120.5,-33,812.');
  }
  return [x as number, y as number, z as number];
}

function placeText(place: Vec3, uncertainty: number): string {
  return `(${place.map((value) => value.toFixed(decimalsFor(uncertainty))).join(', ')}) mm`;
}

function partRows(parts: UncertaintyParts): string[][] {
  return [
    ['ties between frames', uncertaintyText(parts.ties)],
    ['scale and temperature', uncertaintyText(parts.scale)],
    ['instrument', parts.instrument === null ? 'not known, not counted' : uncertaintyText(parts.instrument)],
  ];
}

function pointText(stated: StatedPoint, title: string): string {
  const { nearest, frame, expanded, semiAxes } = stated;
  const where =
    nearest === null
      ? 'no scan of it to compare with'
      : `nearest scan point ${uncertaintyText(nearest.distance)} away, in ${nearest.scan.name} (${nearest.scan.id})`;
  const axes = semiAxes.map(({ length, direction }) => [
    uncertaintyText(length),
    direction.map((value) => value.toFixed(3)).join(', '),
  ]);
  return (
    `${title} ${placeText(stated.point, expanded)} of frame ${frame}; ${where}\n` +
    `U = ${uncertaintyText(expanded)} (k = 2, most uncertain direction)\n` +
    textTable(['semi-axis (k = 2)', 'direction in the job'], axes) +
    textTable(['contribution', 'U alone (k = 2)'], partRows(stated.parts))
  );
}

function textOf({ points, distance }: StatedUncertainty): string {
  const titles = points.length === 1 ? ['Place'] : ['From', 'To'];
  const parts = points.map((point, i) => pointText(point, titles[i] as string));
  if (distance !== null) {
    parts.push(
      `Distance = ${valueText(distance.distance, distance.expanded)}\n` +
        textTable(['contribution', 'U alone (k = 2)'], partRows(distance.parts)),
    );
  }
  return parts.join('\n');
}

function shownParts(parts: UncertaintyParts): object {
  return { tiesMm: parts.ties, scaleAndTemperatureMm: parts.scale, instrumentMm: parts.instrument };
}

function documentOf(stated: StatedUncertainty): object {
  const { points, distance } = stated;
  return {
    schema: 'lapjoint/uncertainty',
    schemaVersion: 1,
    upToDate: stated.upToDate,
    coverageFactor: 2,
    nearWithinMm: stated.within,
    points: points.map(({ point, frame, nearest, expanded, semiAxes, covariance, parts }) => ({
      atMm: point,
      frame,
      nearestScan:
        nearest === null ? null : { scan: nearest.scan.id, name: nearest.scan.name, distanceMm: nearest.distance },
      expandedMm: expanded,
      semiAxesMm: semiAxes.map((axis) => axis.length),
      semiAxisDirections: semiAxes.map((axis) => axis.direction),
      covarianceMm2: [0, 3, 6].map((row) => covariance.slice(row, row + 3)),
      expandedParts: shownParts(parts),
    })),
    distance:
      distance === null
        ? null
        : {
            distanceMm: distance.distance,
            standardMm: distance.standard,
            expandedMm: distance.expanded,
            expandedParts: shownParts(distance.parts),
          },
  };
}

/** `uncertainty JOB --at x,y,z`: how well a place, or a distance, is known. */
export function addUncertaintyCommand(shell: CommandShell): void {
  defineCommand(shell, 'uncertainty <job>', 'State the uncertainty of a place, or of the distance between two.', [
    'uncertainty cabin-job --at 120.5,-33.0,812.1',
    'uncertainty cabin-job --at 120.5,-33.0,812.1 --to 2950,-33,810',
    'uncertainty cabin-job --at 120.5,-33.0,812.1 --frame inside --json',
  ])
    .requiredOption('--at <x,y,z>', 'the place, in mm, in the frame of the job', placeFromText)
    .option('--frame <name>', 'scan, session or frame it belongs to; that of the nearest scan point when left out')
    .option('--to <x,y,z>', 'the other end of a distance', placeFromText)
    .option('--to-frame <name>', 'scan, session or frame the other end belongs to')
    .option(
      '--within <mm>',
      'farthest that a scan point may be from the place; a hundredth of the largest scan when left out',
      lengthFromText,
    )
    .action((folder: string, options: UncertaintyCommandOptions) =>
      perform(shell, 'uncertainty', options, async (run) => {
        const stated = await uncertaintyOfJob(folder, {
          at: { point: options.at, of: options.frame ?? null },
          to: options.to === undefined ? null : { point: options.to, of: options.toFrame ?? null },
          within: options.within ?? null,
        });
        run.result(documentOf(stated), textOf(stated));
        if (!stated.upToDate) {
          run.say('The alignment was made before the last change of the job; run align again for what it holds now.');
        }
        return EXIT.done;
      }),
    );
}
