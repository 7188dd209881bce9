import { stat } from 'node:fs/promises';
import { INSTRUMENTS, type InstrumentClass, type LengthUnit, THERMAL_MATERIALS } from '@lapjoint/engine';
import {
  type AddOptions,
  type AddResult,
  addFiles,
  estimateReading,
  estimateText,
  type InputKind,
  STANDARD_INPUT,
  shownJob,
  type ThermalWishes,
  thermalOfWishes,
} from '@lapjoint/jobs';
import { Option } from 'commander';
import { askUnit, UNITS } from '../ask-unit.ts';
import { EXIT } from '../exit-code.ts';
import type { CommandRun, CommonOptions } from '../run-command.ts';
import { textTable } from '../terminal/text-table.ts';
import { type CommandShell, defineCommand, numberFromText, perform } from './command-shell.ts';

interface AddCommandOptions extends CommonOptions {
  readonly session?: string;
  readonly frame?: string;
  readonly instrument?: InstrumentClass;
  readonly unit?: LengthUnit;
  readonly kind?: InputKind;
  readonly name?: string;
  readonly temperature?: number;
  readonly temperatureU?: number;
  readonly material?: string;
  readonly expansion?: number;
  readonly expansionU?: number;
  readonly force?: boolean;
  readonly dryRun?: boolean;
}

function textOf({ document, added, refused }: AddResult): string {
  const scans = new Set(added.scans.map((scan) => scan.id));
  const shown = shownJob(document, { alignment: false, fused: false });
  const rows = shown.scans
    .filter((scan) => scans.has(scan.id))
    .map((scan) => [
      scan.id,
      scan.name,
      scan.session,
      scan.frame,
      `${scan.points} points, ${scan.triangles} triangles, unit ${scan.unit}`,
    ]);
  const lists = new Set([...added.targetLists, ...added.probeSets].map((list) => list.id));
  rows.push(
    ...shown.lists
      .filter((list) => lists.has(list.id))
      .map((list) => [
        list.id,
        list.name,
        list.session,
        list.frame,
        `${list.count} ${list.kind === 'targets' ? 'targets' : 'probed points'}, unit ${list.unit}`,
      ]),
  );
  const table = rows.length === 0 ? '' : `Added:\n${textTable(['id', 'file', 'session', 'frame', 'content'], rows)}`;
  return refused.length === 0
    ? table
    : `${table}Not added: ${refused.length} of ${rows.length + refused.length} files.\n`;
}

function thermalWishes(options: AddCommandOptions): ThermalWishes {
  return {
    temperature: options.temperature ?? null,
    temperatureUncertainty: options.temperatureU ?? null,
    material: options.material ?? null,
    expansion: options.expansion ?? null,
    expansionUncertainty: options.expansionU ?? null,
  };
}

function optionsOf(run: CommandRun, options: AddCommandOptions): AddOptions {
  const { session, frame, instrument, unit, kind, name, force } = options;
  return {
    ...(session === undefined ? {} : { session }),
    ...(frame === undefined ? {} : { frame }),
    ...(instrument === undefined ? {} : { instrument }),
    ...(unit === undefined ? {} : { unit }),
    thermal: thermalWishes(options),
    ...(kind === undefined ? {} : { kind }),
    ...(name === undefined ? {} : { name }),
    ...(force === undefined ? {} : { force }),
    ...(run.mayAsk ? { askUnit: (question) => askUnit(run, question) } : {}),
  };
}

/** Says which files would be read, and what that takes. */
async function dryRun(run: CommandRun, files: readonly string[], options: AddCommandOptions): Promise<number> {
  thermalOfWishes(thermalWishes(options));
  const rows: { file: string; megabytes: number | null; isThere: boolean }[] = [];
  for (const file of files) {
    const size = await stat(file).then(
      (status) => (status.isFile() ? status.size / 1e6 : null),
      () => null,
    );
    // How much will come from the standard input, nobody knows before it came.
    rows.push({ file, megabytes: size, isThere: size !== null || file === STANDARD_INPUT });
  }
  const estimate = estimateReading(rows.flatMap((row) => row.megabytes ?? []));
  run.result(
    { schema: 'lapjoint/add', schemaVersion: 1, dryRun: true, files: rows, estimate },
    textTable(
      ['file', 'size', 'would be'],
      rows.map(({ file, megabytes, isThere }) => [
        file,
        megabytes === null ? '-' : `${megabytes.toFixed(2)} MB`,
        isThere ? 'read and added' : 'refused: there is no such file',
      ]),
    ) + estimateText(estimate),
  );
  return rows.some((row) => !row.isThere) ? EXIT.inputInvalid : EXIT.done;
}

async function addToJob(run: CommandRun, folder: string, files: readonly string[], options: AddCommandOptions) {
  const result = await addFiles(folder, files, optionsOf(run, options), run.host);
  const shown = shownJob(result.document, { alignment: false, fused: false });
  const ids = new Set(
    [...result.added.scans, ...result.added.targetLists, ...result.added.probeSets].map((item) => item.id),
  );
  run.result(
    {
      schema: 'lapjoint/add',
      schemaVersion: 1,
      scans: shown.scans.filter((scan) => ids.has(scan.id)),
      lists: shown.lists.filter((list) => ids.has(list.id)),
      refused: result.refused,
      cancelled: result.cancelled,
    },
    textOf(result),
  );
  run.sayFindings([...result.added.scans, ...result.added.targetLists].flatMap((item) => item.findings));
  for (const { file, code, message, hint, place } of result.refused) {
    const where =
      place.line !== undefined ? ` (line ${place.line})` : place.byteOffset ? ` (byte ${place.byteOffset})` : '';
    run.say(`not added: ${file}${where}: ${message}\n  what to do: ${hint}\n  code: ${code}`);
  }
  if (result.cancelled) {
    const kept = [...ids].length;
    run.say(
      `Stopped. ${kept === 0 ? 'Nothing was added' : `${kept} of ${files.length} files were added`}; add the rest with the same command.`,
    );
    return EXIT.interrupted;
  }
  return result.refused.length > 0 ? EXIT.inputInvalid : EXIT.done;
}

/** `add JOB FILE...`: takes scans, targets and probed points in. */
export function addAddCommand(shell: CommandShell): void {
  defineCommand(shell, 'add <job> <files...>', 'Read scans, target lists and probed points into a job.', [
    'add cabin-job outside.ply --session outside --instrument tracked-laser --unit mm',
    'add cabin-job pins.csv --session pins --frame outside --kind probe --unit mm',
    'add cabin-job view-*.ply --unit m',
    'add cabin-job roof.ply --session roof --unit mm --temperature 23.5 --material aluminium',
  ])
    .option('--session <name>', 'session of the files; the name of each file when left out')
    .option('--frame <name>', 'frame of the session; a frame of its own when left out')
    .addOption(new Option('--instrument <class>', 'class of the instrument').choices(Object.keys(INSTRUMENTS)))
    .addOption(new Option('--unit <unit>', 'length unit of the numbers in the files').choices(UNITS))
    .addOption(
      new Option('--kind <kind>', 'what the files hold; told from the content when left out').choices([
        'scan',
        'targets',
        'probe',
      ]),
    )
    .option(
      '--temperature <degrees>',
      'temperature of the object in degrees Celsius; lengths are then reported at 20 degrees',
      numberFromText,
    )
    .option('--temperature-u <kelvin>', 'its standard uncertainty in K; 1 when left out', numberFromText)
    .option(
      '--material <name>',
      `what the object is made of: ${THERMAL_MATERIALS.map((material) => material.id).join(', ')}`,
    )
    .option('--expansion <per-kelvin>', 'coefficient of linear expansion instead, such as 23.6e-6', numberFromText)
    .option(
      '--expansion-u <per-kelvin>',
      'its standard uncertainty; from the table, or a tenth of --expansion, when left out',
      numberFromText,
    )
    .option('--name <file>', 'name of what comes from the standard input, where the file is -')
    .option('--force', 'add a file again that the job already holds')
    .option('--dry-run', 'only say what would be done, with time and memory')
    .action((folder: string, files: string[], options: AddCommandOptions) =>
      perform(shell, 'add', options, (run) =>
        options.dryRun === true ? dryRun(run, files, options) : addToJob(run, folder, files, options),
      ),
    );
}
