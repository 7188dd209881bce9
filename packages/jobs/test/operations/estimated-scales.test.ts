import { type AlignmentResult, quaternionOfVector, type ScaleTerm, transformPoint, type Vec3 } from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';
import { applyEstimatedScales } from '../../src/operations/estimated-scales.ts';

const MIDDLE: Vec3 = [1200, -300, 80];
const POSE = { rotation: quaternionOfVector([0.3, -0.2, 1.1]), translation: [50, 60, -70] as Vec3 };

function resultOf(value: number): AlignmentResult {
  const frame = {
    jobFromFrame: POSE,
    covariance: null,
    covarianceReference: MIDDLE,
    status: 'adjusted',
    message: '',
    remedy: '',
    rivals: [],
  } as const;
  return {
    frames: [
      { ...frame, frame: 'long' },
      { ...frame, frame: 'true' },
      { ...frame, frame: 'refused', jobFromFrame: null, covarianceReference: null, status: 'refused' },
    ],
    ties: [],
    closures: [],
    varianceFactor: null,
    redundancy: 0,
    iterations: 1,
    converged: true,
    jointCovariance: null,
    globalTest: null,
    varianceComponents: [],
    instrumentErrors: [],
    movedParts: [],
    scales: [{ name: 'scale of structured-light', value, sigma: 1e-5 }],
  };
}

function termOf(isEstimated: boolean): ScaleTerm {
  const coefficients = new Map([
    ['long', 1],
    ['refused', 1],
  ]);
  return { name: 'scale of structured-light', sigma: 1e-4, coefficients, isEstimated };
}

describe('an estimated scale', () => {
  it('shortens a frame that is too long about its middle, by a factor about its origin and a pose that goes with it', () => {
    const { frames, factors } = applyEstimatedScales(resultOf(2e-4), [termOf(true)]);
    expect(factors).toEqual({ long: 1 / 1.0002 });
    expect(frames.slice(1)).toEqual(resultOf(2e-4).frames.slice(1));
    const x: Vec3 = [3000, 100, -900];
    const before = transformPoint(POSE, x);
    const factor = factors['long'] as number;
    const after = transformPoint(frames[0]?.jobFromFrame ?? POSE, [factor * x[0], factor * x[1], factor * x[2]]);
    after.forEach((value, k) => {
      const [m, p] = [MIDDLE[k] as number, before[k] as number];
      expect(value).toBeCloseTo(m + (p - m) / 1.0002, 9);
    });
    // 0.2 mm per m over the three metres to the middle: not nothing.
    expect(Math.hypot(...after.map((value, k) => value - (before[k] as number)))).toBeGreaterThan(0.3);
  });

  it('changes nothing where it was not estimated, or found to be zero', () => {
    for (const [value, term] of [
      [2e-4, termOf(false)],
      [0, termOf(true)],
    ] as const) {
      const result = resultOf(value);
      expect(applyEstimatedScales(result, [term])).toEqual({ frames: result.frames, factors: {} });
    }
  });
});
