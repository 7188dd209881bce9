import {
  applyJobChange,
  EMPTY_JOB_DOCUMENT,
  type JobChange,
  type JobDocument,
  type JobSession,
  type SessionThermal,
} from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';
import {
  lengthFactor,
  NO_THERMAL_WISHES,
  planSessions,
  scaleTermsOf,
  shownJob,
  thermalFindings,
  thermalOfWishes,
} from '../../src/index.ts';
import { reduceScanInPlace } from '../../src/operations/reduced-data.ts';
import { scanAdded } from '../fixtures/changes.ts';

const STEEL: SessionThermal = {
  temperatureCelsius: 23.7,
  temperatureUncertainty: 0.5,
  material: 'steel-1020',
  expansion: 11.7e-6,
  expansionUncertainty: 0.35e-6,
};

/** A job with one scan in each of the sessions, in their order. */
function jobOf(...sessions: JobSession[]): JobDocument {
  let document = EMPTY_JOB_DOCUMENT;
  for (const session of sessions) {
    const change = scanAdded(session.name) as Extract<JobChange, { kind: 'added' }>;
    const scans = change.scans.map((scan) => ({ ...scan, frame: session.frame }));
    document = applyJobChange(document, { ...change, sessions: [session], scans });
  }
  return document;
}

function codeOf(action: () => unknown): string {
  try {
    action();
    return 'none';
  } catch (error) {
    return (error as { code?: string }).code ?? String(error);
  }
}

describe('lengths at 20 degrees Celsius', () => {
  it('agree with the worked example of the National Physical Laboratory: 500.035 mm of steel at 23.7 degrees', () => {
    // NPL, "How do I correct lengths to 20 degrees C": 500.013 mm.
    expect((500.035 * lengthFactor(STEEL)).toFixed(3)).toBe('500.013');
    expect(lengthFactor(undefined)).toBe(1);
  });

  it('hold for coordinates of a scan about the origin of its frame', () => {
    const scan = {
      origin: [1000, -2000, 500] as const,
      positions: Float32Array.of(0, 0, 0, 500.035, 0, 0),
      normals: null,
      colors: null,
      triangles: null,
      viewpoint: { kind: 'position', position: [0, 0, 3000] } as const,
    };
    const factor = lengthFactor(STEEL);
    const reduced = reduceScanInPlace(scan, factor);
    expect((reduced.positions[3] as number).toFixed(3)).toBe('500.013');
    expect(reduced.origin[1]).toBeCloseTo(-2000 * factor, 9);
    expect(reduced.viewpoint).toEqual({ kind: 'position', position: [0, 0, 3000 * factor] });
  });

  it('are in the matrix that maps a scan to the job', () => {
    const document = applyJobChange(jobOf({ name: 'a', frame: 'a', instrument: 'unknown', thermal: STEEL }), {
      kind: 'aligned',
      alignment: {
        record: { operation: 'align', inputs: [], parameters: {}, seed: 1, engineVersion: '' },
        result: {
          frames: [
            {
              frame: 'a',
              jobFromFrame: { rotation: [Math.SQRT1_2, 0, 0, Math.SQRT1_2], translation: [10, 20, 30] },
              covariance: null,
              covarianceReference: null,
              status: 'fixed',
              message: '',
              remedy: '',
              rivals: [],
            },
          ],
          ties: [],
          closures: [],
          varianceFactor: null,
          redundancy: 0,
          iterations: 0,
          converged: true,
          jointCovariance: null,
          globalTest: null,
          varianceComponents: [],
          instrumentErrors: [],
          movedParts: [],
        },
        covarianceSha256: null,
        findings: [],
      },
    });
    const shown = shownJob(document, { alignment: true, fused: false });
    const m = shown.poses[0]?.jobFromScan as number[];
    // A quarter turn about z: (x, 0, 0) goes to (0, x, 0), shortened, then shifted; the shift is not.
    const at = [0, 4, 8].map((row) => (m[row] as number) * 500.035 + (m[row + 3] as number));
    expect(at.map((value) => value.toFixed(3))).toEqual(['10.000', '520.013', '30.000']);
    expect(m.slice(12)).toEqual([0, 0, 0, 1]);
    expect(shown.scans[0]?.lengthFactorTo20Celsius).toBe(lengthFactor(STEEL));
    expect(shown.sessions[0]?.temperature).toMatchObject({ temperatureCelsius: 23.7, expansionPerKelvin: 11.7e-6 });
  });
});

describe('what a person says about temperature', () => {
  const wishes = { ...NO_THERMAL_WISHES, temperature: 23.5 };

  it('is complete with a material of the table, or with a coefficient', () => {
    expect(thermalOfWishes(NO_THERMAL_WISHES)).toBeNull();
    // Callister, table B.6: 23.6e-6 for alloy 6061; a band of half width a is a / sqrt(3) (JCGM 100, 4.3.7).
    const table = thermalOfWishes({ ...wishes, material: 'aluminium-6061' });
    expect(table).toMatchObject({ material: 'aluminium-6061', temperatureUncertainty: 1 });
    expect(table?.expansion).toBeCloseTo(23.6e-6, 12);
    expect(table?.expansionUncertainty).toBeCloseTo(1.2e-6 / Math.sqrt(3), 12);
    expect(
      thermalOfWishes({ ...wishes, temperatureUncertainty: 0.5, expansion: 2e-5, expansionUncertainty: 1e-6 }),
    ).toEqual({
      temperatureCelsius: 23.5,
      temperatureUncertainty: 0.5,
      material: null,
      expansion: 2e-5,
      expansionUncertainty: 1e-6,
    });
  });

  it('is refused where it is half of a statement, contradicts itself, or cannot be meant', () => {
    expect(codeOf(() => thermalOfWishes(wishes))).toBe('temperature-incomplete');
    expect(codeOf(() => thermalOfWishes({ ...NO_THERMAL_WISHES, material: 'steel' }))).toBe('temperature-incomplete');
    expect(codeOf(() => thermalOfWishes({ ...NO_THERMAL_WISHES, temperatureUncertainty: 1 }))).toBe(
      'temperature-incomplete',
    );
    expect(codeOf(() => thermalOfWishes({ ...wishes, material: 'steel', expansion: 1e-5 }))).toBe(
      'temperature-incomplete',
    );
    expect(codeOf(() => thermalOfWishes({ ...wishes, material: 'cheese' }))).toBe('unknown-name');
    // Kelvin instead of degrees Celsius, and a coefficient without its e-6.
    expect(codeOf(() => thermalOfWishes({ ...wishes, temperature: 296.65, material: 'steel' }))).toBe(
      'temperature-invalid',
    );
    expect(codeOf(() => thermalOfWishes({ ...wishes, expansion: 23.6 }))).toBe('temperature-invalid');
    expect(codeOf(() => thermalOfWishes({ ...wishes, expansion: 1e-5, expansionUncertainty: -1e-6 }))).toBe(
      'temperature-invalid',
    );
    expect(codeOf(() => thermalOfWishes({ ...wishes, temperatureUncertainty: -1, material: 'steel' }))).toBe(
      'temperature-invalid',
    );
  });

  it('holds for a whole session: stated later it counts for all of it, stated otherwise it is refused', () => {
    const silent = jobOf({ name: 'roof', frame: 'roof', instrument: 'tracked-laser' });
    const wanted = { session: 'roof', frame: null, instrument: null, thermal: STEEL };
    const [planned] = planSessions(silent, ['b.ply'], wanted);
    expect(planned?.session).toEqual({ name: 'roof', frame: 'roof', instrument: 'tracked-laser', thermal: STEEL });
    const change = scanAdded('other') as Extract<JobChange, { kind: 'added' }>;
    const told = applyJobChange(silent, { ...change, sessions: [planned?.session as JobSession] });
    expect(told.sessions).toEqual([{ name: 'roof', frame: 'roof', instrument: 'tracked-laser', thermal: STEEL }]);
    expect(planSessions(told, ['c.ply'], { ...wanted, thermal: null })[0]?.session.thermal).toEqual(STEEL);
    const warmer = { ...STEEL, temperatureCelsius: 30 };
    expect(codeOf(() => planSessions(told, ['c.ply'], { ...wanted, thermal: warmer }))).toBe('temperature-conflict');
  });
});

describe('terms of length that no residual shows', () => {
  it('are the sheet of each class, the temperature of each session and the coefficient of each material', () => {
    const warm = { ...STEEL, temperatureCelsius: 30 };
    const document = jobOf(
      { name: 'outside', frame: 'outside', instrument: 'tracked-laser', thermal: STEEL },
      { name: 'inside', frame: 'inside', instrument: 'structured-light', thermal: warm },
      { name: 'roof', frame: 'roof', instrument: 'tracked-laser' },
      { name: 'floor', frame: 'floor', instrument: 'unknown' },
    );
    const terms = scaleTermsOf(document, ['structured-light']);
    const named = terms.map(({ name, sigma, coefficients, isEstimated }) => ({
      name,
      sigma,
      coefficients: Object.fromEntries(coefficients),
      isEstimated,
    }));
    // Sheets: 0.015 and 0.1 mm per metre. 11.7e-6/K times 0.5 K for each temperature.
    expect(named.map((term) => [term.name, term.isEstimated, Object.keys(term.coefficients)])).toEqual([
      ['scale of tracked-laser', false, ['outside', 'roof']],
      ['scale of structured-light', true, ['inside']],
      ['temperature of outside', false, ['outside']],
      ['temperature of inside', false, ['inside']],
      ['expansion of steel-1020', false, ['outside', 'inside']],
    ]);
    const sigmas = [15e-6, 100e-6, 5.85e-6, 5.85e-6, 0.35e-6];
    named.forEach((term, i) => {
      expect(term.sigma / (sigmas[i] as number)).toBeCloseTo(1, 9);
    });
    const { outside, inside } = (named[4]?.coefficients ?? {}) as Record<string, number>;
    // 3.7 K and 10 K from 20 degrees, to first order.
    expect(outside).toBeCloseTo(3.7, 2);
    expect(inside).toBeCloseTo(10, 2);
  });

  it('keep two coefficients of one material apart', () => {
    const other = { ...STEEL, expansion: 12e-6 };
    const document = jobOf(
      { name: 'a', frame: 'a', instrument: 'unknown', thermal: STEEL },
      { name: 'b', frame: 'b', instrument: 'unknown', thermal: other },
    );
    const names = scaleTermsOf(document, []).map((term) => term.name);
    expect(names.slice(2)).toEqual(['expansion of steel-1020', 'expansion of steel-1020, coefficient no. 2']);
  });

  it('have an effect of the size that a worked length has', () => {
    // 4.5 m of steel (11.5e-6/K), 8 K from 20 degrees: 0.4140 mm; one per cent of the coefficient is 0.0041 mm of it.
    const thermal = { ...STEEL, temperatureCelsius: 28, expansion: 11.5e-6, expansionUncertainty: 0.115e-6 };
    const document = jobOf({ name: 'a', frame: 'a', instrument: 'unknown', thermal });
    expect((4500 * lengthFactor(thermal)).toFixed(5)).toBe('4499.58604');
    const term = scaleTermsOf(document, []).at(-1);
    expect(4500 * (term?.sigma ?? 0) * (term?.coefficients.get('a') ?? 0)).toBeCloseTo(0.00414, 5);
  });
});

describe('sessions of one frame', () => {
  it('that differ in temperature are named with the difference in mm, and silent ones are noted', () => {
    const frame = 'hall';
    const a: JobSession = { name: 'morning', frame, instrument: 'tracked-laser', thermal: STEEL };
    const b: JobSession = { name: 'noon', frame, instrument: 'tracked-laser' };
    let document = jobOf(a, b);
    const far = { min: [0, 0, 0], max: [3000, 4000, 0] } as const;
    document = { ...document, scans: document.scans.map((scan) => ({ ...scan, bounds: far })) };
    const findings = thermalFindings(document);
    expect(findings.map((finding) => [finding.severity, finding.code, finding.subject])).toEqual([
      ['warning', 'temperature-differs-in-frame', 'noon'],
      ['note', 'temperature-not-stated', 'noon'],
    ]);
    // 5 m x 11.7e-6/K x 3.7 K = 0.216 mm.
    expect(findings[0]?.message).toContain('0.216 mm');
    expect(thermalFindings(jobOf(a))).toEqual([]);
  });
});

describe('journals of early versions', () => {
  it('lack temperature, covariance and tests, and are read all the same', () => {
    const { document } = JSON.parse(
      JSON.stringify({
        document: applyJobChange(jobOf({ name: 'a', frame: 'a', instrument: 'unknown' }), {
          kind: 'aligned',
          alignment: {
            record: { operation: 'align', inputs: [], parameters: {}, seed: 1, engineVersion: '' },
            result: {
              frames: [],
              ties: [{ id: 't', kind: 'overlap', frameA: 'a', frameB: 'b', weakDirections: [], count: 1 }],
              closures: [],
              varianceFactor: null,
              redundancy: 0,
              iterations: 1,
              converged: true,
            },
            findings: [],
          } as never,
        }),
      }),
    );
    expect(document.alignment).toMatchObject({
      covarianceSha256: null,
      result: { jointCovariance: null, globalTest: null, movedParts: [], ties: [{ id: 't', test: null }] },
    });
    expect(shownJob(document, { alignment: false, fused: false }).adjustment).toMatchObject({ upToDate: false });
  });
});
