import {
  expansionOf,
  findThermalMaterial,
  INSTRUMENTS,
  independentInputs,
  lengthAtReference,
  makeRandom,
  normalInput,
  propagateDistributions,
  rectangularInput,
  referenceScale,
  THERMAL_MATERIALS,
  type ThermalSession,
  thermalScale,
  thermalScaleTerms,
} from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';

function near(actual: number, expected: number, tolerance: number): void {
  expect(Math.abs(actual - expected), `${actual} is not ${expected}`).toBeLessThanOrEqual(tolerance);
}

const exact = (coefficient: number) => ({ coefficient, standardUncertainty: 0 });
const at = (value: number, standardUncertainty = 0) => ({ value, standardUncertainty });

describe('lengths at 20 degrees Celsius (ISO 1)', () => {
  it('example of the National Physical Laboratory: a steel bar at 23.7 degrees', () => {
    const { length } = lengthAtReference(500.035, exact(11.7e-6), at(23.7));
    // First order, as printed; what is left out is a nanometre.
    near(500.035 - 11.7e-6 * 500.035 * 3.7, 500.013353, 5e-7);
    near(length, 500.013353, 1.5e-6);
    expect(length.toFixed(3)).toBe('500.013');
  });

  it('worked numbers over 4.5 m and 8 K', () => {
    // Growth of 4.5 m by 8 K: steel, aluminium, grey iron, ABS, glass fibre along.
    for (const [coefficient, growth] of [
      [11.5, 0.414],
      [23.6, 0.8496],
      [11.4, 0.4104],
      [90, 3.24],
      [6.6, 0.2376],
    ] as const) {
      near(4500 * (1 / referenceScale(coefficient * 1e-6, 28) - 1), growth, 1e-9);
      near(lengthAtReference(4500 + growth, exact(coefficient * 1e-6), at(28)).length, 4500, 1e-9);
    }
    near(lengthAtReference(4500, exact(11.5e-6), at(28)).length, 4499.58604, 5e-6);
    // Steel against aluminium over 3 m and 6 K; a steel scan as a whole at 25 degrees; per metre and kelvin.
    near(3000 * (1 / referenceScale(23.6e-6, 26) - 1 / referenceScale(11.5e-6, 26)), 0.2178, 1e-9);
    near((1 / referenceScale(11.5e-6, 25) - 1) * 1e6, 57.5, 1e-6);
    near(1000 * (1 / referenceScale(11.5e-6, 21) - 1), 0.0115, 1e-9);
  });

  it('brings back what the simulator lengthens, and changes nothing at 20 degrees', () => {
    near(referenceScale(23e-6, 31.5) * thermalScale(31.5, 23e-6), 1, 1e-15);
    expect(lengthAtReference(1234.5, exact(23e-6), at(20)).length).toBe(1234.5);
  });

  it('its uncertainty is that of drawn temperatures and coefficients', () => {
    for (const [temperature, uTemperature, halfWidth] of [
      [28, 1.5, 2e-6],
      [20, 2, 9e-6],
      [35, 0.1, 1e-6],
    ] as const) {
      const [drawn] = propagateDistributions(
        (x) => [4500 / (1 + x[0]! * (x[1]! - 20))],
        independentInputs([
          rectangularInput(23e-6 - halfWidth, 23e-6 + halfWidth),
          normalInput(temperature, uTemperature),
        ]),
        makeRandom(1, 'thermal'),
        { trialCount: 100_000 },
      ).outputs;
      const stated = lengthAtReference(
        4500,
        { coefficient: 23e-6, standardUncertainty: halfWidth / Math.sqrt(3) },
        at(temperature, uTemperature),
      );
      near(stated.standardUncertainty / drawn!.standardUncertainty, 1, 0.01);
      near(stated.length, drawn!.mean, 4 * drawn!.standardUncertainty * Math.sqrt(1e-5));
    }
  });
});

describe('materials', () => {
  it('coefficients of Callister, table B.6 (1e-6/K), lie in their bands', () => {
    for (const [id, ...values] of [
      ['steel-a36', 11.7],
      ['steel-1020', 11.7],
      ['steel-1040', 11.3],
      ['steel-4140', 12.3],
      ['steel-4340', 12.3],
      ['steel', 11.3, 11.7, 12.3],
      ['stainless-304', 17.2],
      ['stainless-316', 15.9],
      ['stainless-405', 10.8],
      ['stainless', 10.8, 15.9, 17.2],
      ['grey-iron', 11.4],
      ['ductile-iron', 11.2],
      ['aluminium-1100', 23.6],
      ['aluminium-6061', 23.6],
      ['aluminium-2024', 22.9],
      ['aluminium-7075', 23.4],
      ['aluminium-356', 21.5],
      ['aluminium', 21.5, 22.9, 23.4, 23.6],
      ['glass', 9],
      ['borosilicate', 3.3],
      ['polycarbonate', 65, 122],
      ['pmma', 90, 162],
      ['polypropylene', 146, 180],
      ['polystyrene', 90, 150],
      ['nylon-66', 144],
      ['pvc', 90, 180],
      ['epoxy', 81, 117],
      ['glass-epoxy-along', 6.6],
      ['glass-epoxy-across', 30],
      ['carbon-epoxy-along', -0.5],
      ['carbon-epoxy-across', 32],
      ['invar', 1.6],
      ['abs', 72, 108],
      ['abs-glass', 31],
    ] as const) {
      const found = findThermalMaterial(id)!;
      expect(found, id).not.toBeNull();
      for (const value of values) {
        expect(Math.abs(value * 1e-6 - found.expansion), id).toBeLessThanOrEqual(found.halfWidth * (1 + 1e-12));
      }
    }
    expect(findThermalMaterial('cheese')).toBeNull();
  });

  it('plastics have a band of 40 %, none is without one, and each names its source', () => {
    for (const id of ['abs', 'polycarbonate', 'pmma', 'nylon-66', 'epoxy']) {
      const { expansion, halfWidth } = findThermalMaterial(id)!;
      near(halfWidth / expansion, 0.4, 1e-12);
    }
    const ids = THERMAL_MATERIALS.map((m) => m.id);
    expect(new Set(ids).size).toBe(ids.length);
    for (const m of THERMAL_MATERIALS) {
      expect(m.halfWidth).toBeGreaterThan(0);
      expect(m.source.length).toBeGreaterThan(5);
    }
    near(expansionOf(findThermalMaterial('abs')!).standardUncertainty, 36e-6 / Math.sqrt(3), 1e-12);
  });
});

describe('scale terms of sessions', () => {
  const aluminium = { coefficient: 23e-6, standardUncertainty: 1e-6 };
  const session = (name: string, frame: string, value: number, u: number): ThermalSession => ({
    session: name,
    frame,
    material: 'body',
    expansion: aluminium,
    temperature: at(value, u),
  });

  it('the terms are the errors that a wrong temperature and a wrong coefficient make', () => {
    const sessions = [session('morning', 'A', 17, 0.4), session('noon', 'B', 29, 0.8)];
    const terms = thermalScaleTerms(sessions);
    expect(terms.map((t) => t.name)).toEqual(['temperature of morning', 'temperature of noon', 'expansion of body']);
    expect(terms.every((t) => !t.isEstimated)).toBe(true);
    for (const term of terms) {
      for (const s of sessions) {
        // The truth is one sigma off; the correction does not know it.
        const isCoefficient = term.name.startsWith('expansion');
        const trueTemperature =
          s.temperature.value + (term.name.endsWith(s.session) ? s.temperature.standardUncertainty : 0);
        const trueCoefficient = aluminium.coefficient + (isCoefficient ? aluminium.standardUncertainty : 0);
        const corrected = thermalScale(trueTemperature, trueCoefficient) * referenceScale(23e-6, s.temperature.value);
        near(corrected - 1, (term.coefficients.get(s.frame) ?? 0) * term.sigma, 1e-12);
      }
    }
  });

  it('sessions of one frame share; a temperature known exactly has no term', () => {
    const terms = thermalScaleTerms([session('a', 'A', 24, 0.5), session('b', 'A', 26, 0), session('c', 'B', 20, 0.5)]);
    expect(terms.map((t) => t.name)).toEqual(['temperature of a', 'temperature of c', 'expansion of body']);
    near(terms[0]!.coefficients.get('A')!, 0.5, 1e-4);
    near(terms[2]!.coefficients.get('A')!, 5, 1e-2);
    expect(terms[2]!.coefficients.get('B')).toBe(0);
  });

  it('refuses two coefficients for one piece of material', () => {
    const other = { ...session('b', 'B', 25, 0.5), expansion: { coefficient: 12e-6, standardUncertainty: 1e-6 } };
    expect(() => thermalScaleTerms([session('a', 'A', 24, 0.5), other])).toThrow(RangeError);
  });

  it('a scale error of temperature is of the size of the instruments own over a few kelvin', () => {
    const [term] = thermalScaleTerms([session('a', 'A', 26, 1)]);
    const perMetre = term!.sigma * 1000;
    expect(perMetre).toBeGreaterThan(INSTRUMENTS['tracked-laser'].volumetric!.perMetre);
  });
});
