import { type Finding, formatLength, type JobDocument, type JobSession } from '@lapjoint/engine';
import { lengthFactor } from './length-factors.ts';

/** Farthest that data of a session lie from the frame's origin, mm. */
function farthestOf(document: JobDocument, session: string): number {
  const points = [
    ...document.scans.filter((scan) => scan.session === session).flatMap(({ bounds }) => [bounds.min, bounds.max]),
    ...document.targetLists
      .filter((list) => list.session === session)
      .flatMap((list) => list.targets.map((target) => target.position)),
    ...document.probeSets
      .filter((set) => set.session === session)
      .flatMap((set) => set.points.map((point) => point.position)),
  ];
  return Math.max(0, ...points.map((point) => Math.hypot(...point)));
}

function differing(document: JobDocument, first: JobSession, other: JobSession): Finding | null {
  const difference = Math.abs(lengthFactor(first.thermal) - lengthFactor(other.thermal));
  const shift = difference * Math.max(farthestOf(document, first.name), farthestOf(document, other.name));
  if (shift === 0) return null;
  return {
    severity: 'warning',
    code: 'temperature-differs-in-frame',
    subject: other.name,
    message:
      `Sessions ${first.name} and ${other.name} share the frame ${first.frame}, but not temperature and material: ` +
      `the object has another size in each, by up to ${formatLength(shift)} mm, and nobody knows which of its points stayed where it was.`,
    remedy: 'Give the second session a frame of its own, or state the temperature of both.',
  };
}

/** What a person should know about the temperatures of a job: sessions of one frame that differ, and what was not stated. */
export function thermalFindings(document: JobDocument): Finding[] {
  const findings: Finding[] = [];
  for (const frame of document.frames) {
    const [first, ...others] = document.sessions.filter((session) => session.frame === frame);
    for (const other of others) {
      const finding = first === undefined ? null : differing(document, first, other);
      if (finding !== null) findings.push(finding);
    }
  }
  const silent = document.sessions.filter((session) => session.thermal === undefined);
  if (silent.length > 0) {
    findings.push({
      severity: 'note',
      code: 'temperature-not-stated',
      subject: silent.map((session) => session.name).join(', '),
      message:
        'No temperature is stated for these sessions: their lengths hold at the temperature of the capture, and the stated ' +
        'uncertainty does not cover the way to 20 °C. Steel grows by about 0.012 mm per metre and kelvin, aluminium by 0.024 mm.',
      remedy: 'State it with add --temperature and --material.',
    });
  }
  return findings;
}
