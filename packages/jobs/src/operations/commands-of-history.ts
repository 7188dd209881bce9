import type { JobChange, JobScan, JobSession, ResultRecord, SessionThermal } from '@lapjoint/engine';
import type { JobHistory } from '../store/job-history.ts';
import { estimatedScales } from './result-record.ts';
import { STANDARD_INPUT } from './spool-input.ts';

/** A word as a shell takes it. */
function quoted(word: string): string {
  return /^[A-Za-z0-9_./:@%+=-]+$/.test(word) ? word : `'${word.replaceAll("'", `'\\''`)}'`;
}

function thermalOptions(thermal: SessionThermal): string[] {
  const { temperatureCelsius, temperatureUncertainty, material, expansion, expansionUncertainty } = thermal;
  // A material that was stated alone is repeated with its uncertainty, so that a later table changes nothing unseen.
  return [
    ...['--temperature', `${temperatureCelsius}`, '--temperature-u', `${temperatureUncertainty}`],
    ...(material === null ? ['--expansion', `${expansion}`] : ['--material', material]),
    ...['--expansion-u', `${expansionUncertainty}`],
  ];
}

function scaleOptions(record: ResultRecord): string[] {
  return estimatedScales(record).flatMap((name) => ['--estimate-scale', name]);
}

type Added = Extract<JobChange, { kind: 'added' }>;
type Item = Pick<JobScan, 'session' | 'frame' | 'unit' | 'source'>;

function addCommands(change: Added, folder: string): string[] {
  const sessions = new Map(change.sessions.map((session) => [session.name, session]));
  const commandOf = (item: Item, kind: string): string => {
    const session: JobSession | undefined = sessions.get(item.session);
    const instrument =
      session === undefined || session.instrument === 'unknown' ? [] : ['--instrument', session.instrument];
    const frame = item.frame === item.session ? [] : ['--frame', item.frame];
    const named = item.source.path === STANDARD_INPUT ? ['--name', item.source.name] : [];
    const words = [
      'lapjoint',
      'add',
      folder,
      item.source.path,
      ...named,
      '--session',
      item.session,
      ...frame,
      ...instrument,
    ];
    const thermal = session?.thermal === undefined ? [] : thermalOptions(session.thermal);
    return [...words, '--unit', item.unit, ...thermal, ...(kind === 'scan' ? [] : ['--kind', kind])]
      .map(quoted)
      .join(' ');
  };
  return [
    ...change.scans.map((item) => commandOf(item, 'scan')),
    ...change.targetLists.map((item) => commandOf(item, 'targets')),
    ...change.probeSets.map((item) => commandOf(item, 'probe')),
  ];
}

function commandsOf(change: JobChange, folder: string): string[] {
  switch (change.kind) {
    case 'created': {
      const name = change.name === '' ? [] : ['--name', change.name];
      return [['lapjoint', 'new', folder, ...name, '--seed', String(change.seed)].map(quoted).join(' ')];
    }
    case 'added':
      return addCommands(change, folder);
    case 'tied':
      return [['lapjoint', 'tie', folder, change.source.path].map(quoted).join(' ')];
    case 'aligned':
      return [['lapjoint', 'align', folder, ...scaleOptions(change.alignment.record)].map(quoted).join(' ')];
    case 'fused': {
      const { resolution } = change.fused.record.parameters;
      const option = typeof resolution === 'number' ? ` --resolution ${resolution}` : '';
      return [`lapjoint fuse ${quoted(folder)}${option}`];
    }
  }
}

/** Commands that lead to a job's state, in order, with every choice stated: for the record, and for repeating it. */
export function commandsOfHistory({ done }: JobHistory, folder: string): string[] {
  return done.flatMap(({ change }) => commandsOf(change, folder));
}
