import {
  INSTRUMENTS,
  type InstrumentClass,
  type JobDocument,
  type JobSession,
  type ScaleTerm,
  type SessionThermal,
  type ThermalSession,
  thermalScaleTerms,
} from '@lapjoint/engine';
import { sessionOfFrame } from './length-factors.ts';

/** Relative length of a sheet's mm per m. */
const PER_METRE = 1e-3;

/** Name of the term for the scale of a class of instruments. */
export function scaleTermName(instrument: InstrumentClass): string {
  return `scale of ${instrument}`;
}

/** Relative scale that the sheet of a class allows, as standard uncertainty; null where it says none. */
export function sheetScale(instrument: InstrumentClass): number | null {
  const { volumetric } = INSTRUMENTS[instrument];
  return volumetric === null || volumetric.perMetre === 0 ? null : PER_METRE * volumetric.perMetre;
}

/**
 * Errors of length that no residual shows, as the adjustment takes them (GUM type B): one term for the scale of each class
 * of instruments, one for the temperature of each session, one for the expansion of each material.
 *
 * Frames   a frame takes part with the session that speaks for it: the first with scans. A frame at 20 degrees Celsius has
 *          no part in the error of its material's coefficient, one without a stated temperature none in either.
 * Assumes  instruments of one class to be one instrument; temperatures of two sessions to err apart; one material of equal
 *          coefficient to be one piece.
 *
 * @param estimated classes whose scale is an unknown of the adjustment, held by the sheet
 */
export function scaleTermsOf(document: JobDocument, estimated: readonly InstrumentClass[]): ScaleTerm[] {
  const instruments = new Map<InstrumentClass, Map<string, number>>();
  const thermal: ThermalSession[] = [];
  const pieces = new Map<string, string>();
  for (const frame of document.frames) {
    const session = sessionOfFrame(document, frame);
    if (session === undefined) continue;
    if (sheetScale(session.instrument) !== null) {
      const frames = instruments.get(session.instrument) ?? new Map<string, number>();
      instruments.set(session.instrument, frames.set(frame, 1));
    }
    thermal.push(...thermalSession(session, frame, pieces));
  }
  const scales = [...instruments].map(
    ([instrument, coefficients]): ScaleTerm => ({
      name: scaleTermName(instrument),
      sigma: sheetScale(instrument) as number,
      coefficients,
      isEstimated: estimated.includes(instrument),
    }),
  );
  return [...scales, ...thermalScaleTerms(thermal)];
}

/** Name of a piece of material: equal names with unequal coefficients are two pieces. */
function pieceName(thermal: SessionThermal, pieces: Map<string, string>): string {
  const material = thermal.material ?? 'stated material';
  const key = `${material} ${thermal.expansion} ${thermal.expansionUncertainty}`;
  const known = pieces.get(key);
  if (known !== undefined) return known;
  const alike = [...pieces.keys()].filter((other) => other.startsWith(`${material} `)).length;
  const name = alike === 0 ? material : `${material}, coefficient no. ${alike + 1}`;
  pieces.set(key, name);
  return name;
}

function thermalSession({ name, thermal }: JobSession, frame: string, pieces: Map<string, string>): ThermalSession[] {
  if (thermal === undefined) return [];
  const { expansion, expansionUncertainty, temperatureCelsius, temperatureUncertainty } = thermal;
  return [
    {
      session: name,
      frame,
      material: pieceName(thermal, pieces),
      expansion: { coefficient: expansion, standardUncertainty: expansionUncertainty },
      temperature: { value: temperatureCelsius, standardUncertainty: temperatureUncertainty },
    },
  ];
}
