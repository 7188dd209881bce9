import { formatLength, type TruthComparison } from '@lapjoint/engine';
import { type ShownJob, type ShownPose, type ShownSession, showJob, shownTruth, truthOfJob } from '@lapjoint/jobs';
import { EXIT } from '../exit-code.ts';
import type { CommonOptions } from '../run-command.ts';
import { textTable } from '../terminal/text-table.ts';
import { adjustmentText, tiesText } from './adjustment-text.ts';
import { type CommandShell, defineCommand, perform } from './command-shell.ts';

function sizeOf(bounds: { readonly min: readonly number[]; readonly max: readonly number[] }): string {
  return [0, 1, 2].map((i) => formatLength((bounds.max[i] ?? 0) - (bounds.min[i] ?? 0))).join(' x ') + ' mm';
}

/** Poses of scans as a table: one row a frame. */
export function posesText(poses: readonly ShownPose[]): string {
  const frames = [...new Map(poses.map((pose) => [pose.frame, pose])).values()];
  return textTable(
    ['frame', 'status', 'position (mm)', 'what is known'],
    frames.map((pose) => [
      pose.frame,
      pose.status,
      pose.jobFromScan === null ? '-' : [3, 7, 11].map((i) => (pose.jobFromScan?.[i] ?? 0).toFixed(3)).join(', '),
      [pose.message, pose.status === 'refused' ? pose.remedy : ''].filter((part) => part !== '').join(' '),
    ]),
  );
}

/** Temperatures of the sessions and what they do to lengths, as a table. Empty when none is stated. */
function temperaturesText(sessions: readonly ShownSession[]): string {
  if (sessions.every((session) => session.temperature === null)) return '';
  const table = textTable(
    ['session', 'frame', 'temperature and material', 'lengths to 20 °C'],
    sessions.map(({ name, frame, temperature }) => [
      name,
      frame,
      temperature === null
        ? 'not stated'
        : `${formatPlain(temperature.temperatureCelsius, 2 * temperature.uncertaintyKelvin)} °C ± ` +
          `${formatPlain(2 * temperature.uncertaintyKelvin, 2 * temperature.uncertaintyKelvin)} K (k = 2), ` +
          `${temperature.material ?? `${Number((1e6 * temperature.expansionPerKelvin).toPrecision(4))}e-6/K`}`,
      temperature === null ? 'as captured' : millimetresPerMetre(temperature.lengthFactorTo20Celsius),
    ]),
  );
  return `Temperature: results hold at 20 °C (ISO 1)\n${table}`;
}

/** Two digits of the uncertainty. */
function formatPlain(value: number, uncertainty: number): string {
  return value.toFixed(uncertainty > 0 ? Math.max(0, 1 - Math.floor(Math.log10(uncertainty))) : 1);
}

function millimetresPerMetre(factor: number): string {
  const change = 1000 * (factor - 1);
  return `${change > 0 ? '+' : ''}${change.toFixed(4)} mm per m`;
}

/** How the results lie to the known truth, as tables. */
function truthText({ frames, surface }: TruthComparison): string {
  const mm = (value: number | null): string => (value === null ? '-' : `${formatLength(value)} mm`);
  const table = textTable(
    ['frame', 'status', 'rms of its points', 'far end', 'stated U there (k = 2)', 'angle', 'in standard uncertainties'],
    frames.map((frame) => [
      frame.frame,
      frame.status,
      mm(frame.rms),
      mm(frame.farPoint),
      mm(frame.farPointUncertainty),
      frame.angleDeg === null ? '-' : `${formatLength(frame.angleDeg)} deg`,
      frame.normalized === null ? '-' : formatLength(frame.normalized),
    ]),
  );
  const fused =
    surface === null
      ? ''
      : `Fused surface: half of the area within ${mm(surface.medianAbsolute)}, 95 % within ${mm(surface.percentile95)}; ` +
        `noise ${mm(surface.noise)}.\n`;
  return `Deviation from the known truth\n${table}${fused}`;
}

function textOf(job: ShownJob): string {
  const parts = [`Job ${job.job.name}, seed ${job.job.seed}. Lengths in mm.\n`];
  if (job.scans.length + job.lists.length === 0) {
    return `${parts[0]}\nThis job has no scans yet. Add some: lapjoint add JOB FILE...\n`;
  }
  parts.push(
    textTable(
      ['scan', 'file', 'session', 'frame', 'instrument', 'points', 'triangles', 'unit', 'size'],
      job.scans.map((scan) => [
        scan.id,
        scan.name,
        scan.session,
        scan.frame,
        scan.instrument,
        String(scan.points),
        String(scan.triangles),
        `${scan.unit} (${scan.unitFrom === 'file' ? 'from the file' : 'stated'})`,
        sizeOf(scan.boundsMm),
      ]),
    ),
  );
  const temperatures = temperaturesText(job.sessions);
  if (temperatures !== '') parts.push(temperatures);
  if (job.lists.length > 0) {
    parts.push(
      textTable(
        ['list', 'file', 'session', 'frame', 'kind', 'count'],
        job.lists.map((list) => [list.id, list.name, list.session, list.frame, list.kind, String(list.count)]),
      ),
    );
  }
  if (job.adjustment !== null) {
    const stale = job.adjustment.upToDate ? '' : ' (made before the last change of the job: run align again)';
    parts.push(`Alignment${stale}\n`, posesText(job.poses), tiesText(job.ties), adjustmentText(job.adjustment));
  } else {
    parts.push('Not aligned yet. Next: lapjoint align JOB\n');
  }
  if (job.fused !== null) {
    const stale = job.fused.upToDate ? '' : ' (made before the last change of the job: run fuse again)';
    parts.push(
      `Fused surface${stale}: ${job.fused.points} points, ${job.fused.triangles} triangles, ` +
        `resolution ${formatLength(job.fused.resolutionMm)} mm, size ${sizeOf(job.fused.boundsMm)}\n`,
    );
  }
  return parts.join('\n');
}

interface ShowCommandOptions extends CommonOptions {
  readonly truth?: string;
}

/** `show JOB`: all that is known. */
export function addShowCommand(shell: CommandShell): void {
  defineCommand(shell, 'show <job>', 'Show what a job holds and every result.', [
    'show cabin-job',
    'show cabin-job --json',
  ])
    .option('--truth <file>', 'truth.json of a demo, to compare the results with')
    .action((folder: string, options: ShowCommandOptions) =>
      perform(shell, 'show', options, async (run) => {
        const job = await showJob(folder);
        const truth = options.truth === undefined ? null : await truthOfJob(folder, options.truth, run.host);
        run.result(
          options.truth === undefined ? job : { ...job, truth: shownTruth(truth) },
          textOf(job) + (truth === null ? '' : `\n${truthText(truth)}`),
        );
        run.sayFindings([
          ...job.scans.flatMap((scan) => scan.findings),
          ...(job.adjustment?.findings ?? []),
          ...(job.fused?.findings ?? []),
        ]);
        return EXIT.done;
      }),
    );
}
