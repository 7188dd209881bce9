import { type JobDocument, type JobSession, referenceScale, type SessionThermal } from '@lapjoint/engine';

/**
 * What lengths captured at a session's temperature are multiplied by to give those at 20 degrees Celsius (ISO 1); 1 where no
 * temperature was stated.
 */
export function lengthFactor(thermal: SessionThermal | undefined): number {
  return thermal === undefined ? 1 : referenceScale(thermal.expansion, thermal.temperatureCelsius);
}

/** Factor of a scan, target list or probe set by its session. */
export function lengthFactorOf(document: JobDocument, item: { readonly session: string }): number {
  return lengthFactor(document.sessions.find((session) => session.name === item.session)?.thermal);
}

/** Factor of a scan, target list or probe set as it was placed: to 20 degrees Celsius, and to the scale that was estimated. */
export function placedFactorOf(
  document: JobDocument,
  item: { readonly session: string; readonly frame: string },
): number {
  return lengthFactorOf(document, item) * (document.alignment?.frameFactors?.[item.frame] ?? 1);
}

/** The session that speaks for a frame: the first with scans, else with targets, else the first of the frame. */
export function sessionOfFrame(document: JobDocument, frame: string): JobSession | undefined {
  const item = [...document.scans, ...document.targetLists].find((candidate) => candidate.frame === frame);
  return (
    document.sessions.find((session) => session.name === item?.session) ??
    document.sessions.find((session) => session.frame === frame)
  );
}

/** Factor of places that name a frame only, such as picked points. */
export function lengthFactorOfFrame(document: JobDocument, frame: string): number {
  return lengthFactor(sessionOfFrame(document, frame)?.thermal);
}
