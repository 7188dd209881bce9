import { estimateDemo, estimateText, makeNodeRunContext } from '@lapjoint/jobs';
import { type CommandShell, defineCommand, perform, seedFromText } from '../commands/command-shell.ts';
import { EXIT } from '../exit-code.ts';
import type { CommandRun, CommonOptions } from '../run-command.ts';
import { textTable } from '../terminal/text-table.ts';
import { demoCommands } from './demo-guide.ts';
import { writeDemo } from './write-demo.ts';

interface DemoCommandOptions extends CommonOptions {
  readonly small?: boolean;
  readonly seed?: number;
  readonly force?: boolean;
  readonly dryRun?: boolean;
}

async function demo(run: CommandRun, folder: string, options: DemoCommandOptions): Promise<number> {
  const base = { schema: 'lapjoint/demo', schemaVersion: 1 };
  const size = options.small === true ? 'small' : 'full';
  const seed = options.seed ?? 1;
  if (options.dryRun === true) {
    const estimate = estimateDemo(size);
    run.result(
      { ...base, dryRun: true, folder, size, seed, estimate },
      `Would write ${folder}.\n${estimateText(estimate)}`,
    );
    return EXIT.done;
  }
  const { signal, onProgress } = run.host;
  const context = makeNodeRunContext({
    seed,
    ...(signal === undefined ? {} : { signal }),
    ...(onProgress === undefined ? {} : { onProgress }),
  });
  const summary = await writeDemo(folder, { size, seed, force: options.force === true }, context);
  const rows = [
    ...summary.scans.map((s) => [s.file, `${s.points} points, ${s.triangles} triangles`]),
    ...summary.targets.map((t) => [t.file, `${t.targets} targets`]),
    ['pins.csv', `${summary.probedPoints} probed points`],
  ];
  run.result(
    { ...base, size, seed, ...summary, commands: demoCommands(folder) },
    `Invented scans of a ropeway cabin in ${folder}:\n${textTable(['file', 'content'], rows)}` +
      `Next: see ${folder}/README.txt; it begins with lapjoint ${demoCommands(folder)[0]?.join(' ')}\n`,
  );
  return EXIT.done;
}

/** `demo FOLDER`: files as four instruments would have delivered them, with the truth beside them. */
export function addDemoCommand(shell: CommandShell): void {
  defineCommand(shell, 'demo <folder>', 'Capture an invented object with virtual instruments, to try everything out.', [
    'demo demo-data',
    'demo demo-data --small --seed 7',
  ])
    .option('--small', 'about 150 thousand triangles in all instead of 3 million')
    .option('--seed <number>', 'seed of frames and noise; 1 when left out', seedFromText)
    .option('--force', 'write into a folder that is not empty')
    .option('--dry-run', 'only say what would be done')
    .action((folder: string, options: DemoCommandOptions) =>
      perform(shell, 'demo', options, (run) => demo(run, folder, options)),
    );
}
