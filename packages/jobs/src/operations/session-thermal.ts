import { AppError, expansionOf, findThermalMaterial, type SessionThermal, THERMAL_MATERIALS } from '@lapjoint/engine';

/** What a person says about temperature and material of the files to add; null where nothing is said. */
export interface ThermalWishes {
  /** Degrees Celsius. */
  readonly temperature: number | null;
  /** Standard uncertainty, K. */
  readonly temperatureUncertainty: number | null;
  /** Name in the table of materials. */
  readonly material: string | null;
  /** Coefficient of linear expansion, 1/K. */
  readonly expansion: number | null;
  /** Standard uncertainty, 1/K. */
  readonly expansionUncertainty: number | null;
}

/** Nothing said. */
export const NO_THERMAL_WISHES: ThermalWishes = {
  temperature: null,
  temperatureUncertainty: null,
  material: null,
  expansion: null,
  expansionUncertainty: null,
};

/** A hall thermometer beside an object that has stood for a while: standard uncertainty of the object's temperature, K. */
export const ASSUMED_TEMPERATURE_UNCERTAINTY = 1;
/** A coefficient from a book, for an alloy that is not named exactly: standard uncertainty as a share of it. */
export const ASSUMED_EXPANSION_SHARE = 0.1;

/** Beyond this nobody scans; a number outside is most often in another unit. Degrees Celsius. */
const TEMPERATURES = [-60, 150] as const;
/** From materials that shrink a little (carbon fibre) to soft plastics, 1/K. */
const EXPANSIONS = [-1e-5, 4e-4] as const;
const LARGEST_TEMPERATURE_UNCERTAINTY = 50;

function incomplete(message: string, hint: string): AppError {
  return new AppError('temperature-incomplete', message, hint);
}

function invalid(message: string, hint: string): AppError {
  return new AppError('temperature-invalid', message, hint);
}

function isUncertainty(value: number, largest: number): boolean {
  return Number.isFinite(value) && value >= 0 && value <= largest;
}

function refuseNonsense(wishes: ThermalWishes): void {
  const { temperature, temperatureUncertainty, expansion, expansionUncertainty } = wishes;
  if (temperature !== null && !(temperature >= TEMPERATURES[0] && temperature <= TEMPERATURES[1])) {
    throw invalid(
      `${temperature} is no temperature at which an object is scanned.`,
      `Give degrees Celsius between ${TEMPERATURES[0]} and ${TEMPERATURES[1]}.`,
    );
  }
  if (temperatureUncertainty !== null && !isUncertainty(temperatureUncertainty, LARGEST_TEMPERATURE_UNCERTAINTY)) {
    throw invalid(
      `${temperatureUncertainty} is no uncertainty of a temperature.`,
      `Give the standard uncertainty in kelvin, 0 to ${LARGEST_TEMPERATURE_UNCERTAINTY}.`,
    );
  }
  if (expansion !== null && !(expansion >= EXPANSIONS[0] && expansion <= EXPANSIONS[1])) {
    throw invalid(
      `${expansion} per kelvin is no coefficient of linear expansion of a solid.`,
      'Give it per kelvin, such as 23.6e-6 for aluminium.',
    );
  }
  if (expansionUncertainty !== null && !isUncertainty(expansionUncertainty, EXPANSIONS[1])) {
    throw invalid(
      `${expansionUncertainty} per kelvin is no uncertainty of a coefficient of expansion.`,
      'Give the standard uncertainty per kelvin, such as 1e-6.',
    );
  }
}

function expansionOfWishes(
  wishes: ThermalWishes,
): Pick<SessionThermal, 'material' | 'expansion' | 'expansionUncertainty'> {
  if (wishes.material !== null && wishes.expansion !== null) {
    throw incomplete(
      'Both a material and a coefficient of expansion were stated.',
      'State one of them: --material takes the coefficient from the table, --expansion is the coefficient itself.',
    );
  }
  if (wishes.expansion !== null) {
    return {
      material: null,
      expansion: wishes.expansion,
      expansionUncertainty: wishes.expansionUncertainty ?? ASSUMED_EXPANSION_SHARE * Math.abs(wishes.expansion),
    };
  }
  const known = wishes.material === null ? null : findThermalMaterial(wishes.material);
  if (known !== null) {
    const { coefficient, standardUncertainty } = expansionOf(known);
    return {
      material: known.id,
      expansion: coefficient,
      expansionUncertainty: wishes.expansionUncertainty ?? standardUncertainty,
    };
  }
  if (wishes.material !== null) {
    throw new AppError(
      'unknown-name',
      `${wishes.material} is not in the table of materials.`,
      `Use one of: ${THERMAL_MATERIALS.map((material) => material.id).join(', ')}; or state the coefficient with --expansion.`,
    );
  }
  throw incomplete(
    'A temperature was stated without the material.',
    'State what the object is made of with --material, or its coefficient of expansion with --expansion.',
  );
}

/**
 * Temperature and expansion of a session from what a person says; null when nothing is said.
 *
 * @throws AppError `temperature-incomplete` when one is said without the other, `temperature-invalid` for a value that
 *         cannot be meant, `unknown-name` for a material that is not in the table
 */
export function thermalOfWishes(wishes: ThermalWishes): SessionThermal | null {
  if (Object.values(wishes).every((value) => value === null)) return null;
  refuseNonsense(wishes);
  if (wishes.temperature === null) {
    throw incomplete(
      'A material, a coefficient of expansion or an uncertainty was stated without the temperature.',
      "State the object's temperature in degrees Celsius with --temperature.",
    );
  }
  return {
    temperatureCelsius: wishes.temperature,
    temperatureUncertainty: wishes.temperatureUncertainty ?? ASSUMED_TEMPERATURE_UNCERTAINTY,
    ...expansionOfWishes(wishes),
  };
}

/** Whether two statements about a session say the same. */
export function sameThermal(a: SessionThermal, b: SessionThermal): boolean {
  return (
    a.temperatureCelsius === b.temperatureCelsius &&
    a.temperatureUncertainty === b.temperatureUncertainty &&
    a.material === b.material &&
    a.expansion === b.expansion &&
    a.expansionUncertainty === b.expansionUncertainty
  );
}
