import {
  AppError,
  type InstrumentClass,
  type JobDocument,
  type JobSession,
  type SessionThermal,
} from '@lapjoint/engine';
import { sameThermal } from './session-thermal.ts';

/** What a person says about the files to add; null where nothing is said. */
export interface SessionWishes {
  readonly session: string | null;
  readonly frame: string | null;
  readonly instrument: InstrumentClass | null;
  readonly thermal: SessionThermal | null;
}

/** Session of a file. `renamed`: the stem was taken by another session, so a number was added. */
export interface PlannedSession {
  readonly session: JobSession;
  readonly renamed: boolean;
}

/** A file's name without its ending. */
export function stemOf(fileName: string): string {
  const dot = fileName.lastIndexOf('.');
  return dot > 0 ? fileName.slice(0, dot) : fileName;
}

/**
 * Session and frame of each file to add.
 *
 * Without a session name, each file is a session of its own, named after it; two files of equal name stay two
 * sessions, since nothing says that they share a frame. Without a frame name, a new session has a frame of its own.
 *
 * A known session gets the temperature that is stated with further files, when none was stated before.
 *
 * @throws AppError `frame-conflict`, `instrument-conflict`, `temperature-conflict` when a known session is said to be something else
 */
export function planSessions(
  document: JobDocument,
  fileNames: readonly string[],
  wishes: SessionWishes,
): PlannedSession[] {
  const sessions = new Map(document.sessions.map((session) => [session.name, session]));
  return fileNames.map((fileName) => {
    if (wishes.session !== null) {
      const known = sessions.get(wishes.session);
      const session = known === undefined ? newSession(wishes.session, wishes) : completed(known, wishes);
      sessions.set(session.name, session);
      return { session, renamed: false };
    }
    const stem = stemOf(fileName);
    let name = stem;
    for (let number = 2; sessions.has(name); number++) name = `${stem}-${number}`;
    const session = newSession(name, wishes);
    sessions.set(name, session);
    return { session, renamed: name !== stem };
  });
}

function newSession(name: string, wishes: SessionWishes): JobSession {
  const session = { name, frame: wishes.frame ?? name, instrument: wishes.instrument ?? 'unknown' };
  return wishes.thermal === null ? session : { ...session, thermal: wishes.thermal };
}

/** A known session with what is said about it now. */
function completed(known: JobSession, wishes: SessionWishes): JobSession {
  if (wishes.frame !== null && wishes.frame !== known.frame) {
    throw new AppError(
      'frame-conflict',
      `Session ${known.name} is in frame ${known.frame}, not ${wishes.frame}.`,
      'One session has one frame. Name another session for these files, or leave the frame out.',
    );
  }
  if (wishes.instrument !== null && wishes.instrument !== known.instrument) {
    throw new AppError(
      'instrument-conflict',
      `Session ${known.name} was captured with ${known.instrument}, not ${wishes.instrument}.`,
      'One session has one instrument. Name another session for these files; it may share the frame with --frame.',
    );
  }
  if (wishes.thermal === null) return known;
  if (known.thermal !== undefined && !sameThermal(known.thermal, wishes.thermal)) {
    throw new AppError(
      'temperature-conflict',
      `Session ${known.name} was captured ${inWords(known.thermal)}, not ${inWords(wishes.thermal)}.`,
      'One session has one temperature and one material. Name another session for these files, or leave the temperature out.',
    );
  }
  return { ...known, thermal: wishes.thermal };
}

function inWords(thermal: SessionThermal): string {
  const material = thermal.material ?? `a material of ${Number((1e6 * thermal.expansion).toPrecision(6))}e-6/K`;
  return `at ${thermal.temperatureCelsius} °C (u ${thermal.temperatureUncertainty} K) on ${material}`;
}
