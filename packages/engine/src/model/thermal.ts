import { standardUncertaintyOfLimits } from '../math/index.ts';
import type { ThermalMaterial } from './materials.ts';
import type { ScaleTerm } from './observation.ts';

/** Reference temperature of dimensions, degrees Celsius (ISO 1:2022). */
export const REFERENCE_TEMPERATURE = 20;

/** Linear expansion: coefficient and its standard uncertainty, 1/K. */
export interface Expansion {
  readonly coefficient: number;
  readonly standardUncertainty: number;
}

/** Temperature of an object: degrees Celsius and standard uncertainty, K. */
export interface ObjectTemperature {
  readonly value: number;
  readonly standardUncertainty: number;
}

/** A length at 20 degrees Celsius, mm, with what temperature and coefficient leave uncertain in it. */
export interface ReferenceLength {
  readonly length: number;
  /** Of this correction alone: combine it with the uncertainty of the measured length. */
  readonly standardUncertainty: number;
  readonly fromTemperature: number;
  readonly fromCoefficient: number;
}

/** Expansion of a material of the table: its band is taken as rectangular. */
export function expansionOf(material: ThermalMaterial): Expansion {
  return { coefficient: material.expansion, standardUncertainty: standardUncertaintyOfLimits(material.halfWidth) };
}

/** Factor from coordinates measured on an object to those at 20 degrees Celsius: 1 / (1 + alpha (T - 20)). */
export function referenceScale(expansion: number, temperature: number): number {
  return 1 / (1 + expansion * (temperature - REFERENCE_TEMPERATURE));
}

/**
 * Length at 20 degrees Celsius (ISO 1) of a free object of one material and one temperature.
 *
 * Method   L / (1 + alpha (T - 20)); law of propagation for temperature and coefficient (JCGM 100, 5.1), with the second-order
 *          term of their product, which is all there is when the object is at 20 degrees.
 *
 * @param length measured, mm
 */
export function lengthAtReference(
  length: number,
  expansion: Expansion,
  temperature: ObjectTemperature,
): ReferenceLength {
  const scale = referenceScale(expansion.coefficient, temperature.value);
  const reduced = length * scale;
  const slope = Math.abs(reduced * scale);
  const fromTemperature = slope * Math.abs(expansion.coefficient) * temperature.standardUncertainty;
  const fromCoefficient = slope * Math.abs(temperature.value - REFERENCE_TEMPERATURE) * expansion.standardUncertainty;
  const product = slope * expansion.standardUncertainty * temperature.standardUncertainty;
  return {
    length: reduced,
    standardUncertainty: Math.hypot(fromTemperature, fromCoefficient, product),
    fromTemperature,
    fromCoefficient,
  };
}

/** What a session knows of the object's temperature. */
export interface ThermalSession {
  readonly session: string;
  readonly frame: string;
  /** Name under which sessions share a coefficient: the same piece of material. */
  readonly material: string;
  readonly expansion: Expansion;
  readonly temperature: ObjectTemperature;
}

/**
 * Errors of length that temperature leaves in frames whose coordinates were brought to 20 degrees Celsius: one term a session for
 * its temperature, and one a material for its coefficient, which is wrong by the same amount in all sessions.
 *
 * Several sessions of one frame count with equal shares.
 *
 * @throws RangeError when one material is given with two expansions
 */
export function thermalScaleTerms(sessions: readonly ThermalSession[]): ScaleTerm[] {
  const inFrame = new Map<string, number>();
  for (const { frame } of sessions) inFrame.set(frame, (inFrame.get(frame) ?? 0) + 1);
  const terms: ScaleTerm[] = [];
  const materials = new Map<string, { expansion: Expansion; coefficients: Map<string, number> }>();
  for (const s of sessions) {
    const scale = referenceScale(s.expansion.coefficient, s.temperature.value);
    const share = scale / (inFrame.get(s.frame) as number);
    const sigma = Math.abs(s.expansion.coefficient) * s.temperature.standardUncertainty;
    if (sigma > 0) {
      terms.push({
        name: `temperature of ${s.session}`,
        sigma,
        coefficients: new Map([[s.frame, share]]),
        isEstimated: false,
      });
    }
    const known = materials.get(s.material) ?? { expansion: s.expansion, coefficients: new Map<string, number>() };
    materials.set(s.material, known);
    if (
      known.expansion.coefficient !== s.expansion.coefficient ||
      known.expansion.standardUncertainty !== s.expansion.standardUncertainty
    ) {
      throw new RangeError(`The material ${s.material} is given with two expansion coefficients.`);
    }
    const offset = (s.temperature.value - REFERENCE_TEMPERATURE) * share;
    known.coefficients.set(s.frame, (known.coefficients.get(s.frame) ?? 0) + offset);
  }
  for (const [name, { expansion, coefficients }] of materials) {
    if (!(expansion.standardUncertainty > 0)) continue;
    terms.push({
      name: `expansion of ${name}`,
      sigma: expansion.standardUncertainty,
      coefficients,
      isEstimated: false,
    });
  }
  return terms;
}
