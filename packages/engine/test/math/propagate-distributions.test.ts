import {
  arcsineInput,
  type InputDistribution,
  independentInputs,
  jointNormalInputs,
  makeRandom,
  normalInput,
  propagateDistributions,
  propagateUncertainty,
  rectangularInput,
  studentInput,
  triangularInput,
} from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';

function near(actual: number, expected: number, tolerance: number): void {
  expect(Math.abs(actual - expected), `${actual} is not ${expected}`).toBeLessThanOrEqual(tolerance);
}

const TRIALS = 400_000;
const run = (name: string, model: (x: Float64Array) => number[], inputs: readonly InputDistribution[]) =>
  propagateDistributions(model, independentInputs(inputs), makeRandom(1, name), { trialCount: TRIALS });
const sum = (x: Float64Array): number[] => [x.reduce((a, b) => a + b, 0)];
const unitRectangular = (sd: number): InputDistribution => rectangularInput(-Math.sqrt(3) * sd, Math.sqrt(3) * sd);

// Tolerances are some four standard errors of this many trials.
describe('JCGM 101: propagation of distributions by drawing', () => {
  it('9.2.2 four normal inputs', () => {
    const [y] = run(
      '9.2.2',
      sum,
      [0, 1, 2, 3].map(() => normalInput(0, 1)),
    ).outputs;
    near(y!.mean, 0, 0.013);
    near(y!.standardUncertainty, 2, 0.01);
    near(y!.symmetricInterval[1], 3.92, 0.04);
    near(y!.symmetricInterval[0], -3.92, 0.04);
    near(y!.shortestInterval[1] - y!.shortestInterval[0], 7.84, 0.06);
  });

  it('9.2.3 four rectangular inputs', () => {
    const [y] = run('9.2.3', sum, [1, 1, 1, 1].map(unitRectangular)).outputs;
    near(y!.standardUncertainty, 2, 0.01);
    near(y!.symmetricInterval[1], 3.879407, 0.03);
    near(y!.symmetricInterval[0], -3.879407, 0.03);
  });

  it('9.2.4 one of them dominates: the interval of the law of propagation is too wide', () => {
    const [y] = run('9.2.4', sum, [1, 1, 1, 10].map(unitRectangular)).outputs;
    near(y!.standardUncertainty, 10.1489, 0.04);
    near(y!.symmetricInterval[1], 17.02, 0.05);
    const linear = propagateUncertainty(sum, [0, 0, 0, 0], [1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 100]);
    near(1.959964 * linear.standardUncertainties[0]!, 19.89, 0.005);
  });

  it('9.3 mass calibration', () => {
    // mg and kg/m^3.
    const model = (x: ArrayLike<number>): number[] => [
      (x[0]! + x[1]!) * (1 + (x[2]! - 1.2) * (1 / x[3]! - 1 / x[4]!)) - 100_000,
    ];
    const [y] = run('9.3', model, [
      normalInput(100_000, 0.05),
      normalInput(1.234, 0.02),
      rectangularInput(1.1, 1.3),
      rectangularInput(7000, 9000),
      rectangularInput(7950, 8050),
    ]).outputs;
    near(y!.mean, 1.234, 0.0005);
    near(y!.standardUncertainty, 0.07547, 0.0003);
    near(y!.symmetricInterval[0], 1.0844, 0.0012);
    near(y!.symmetricInterval[1], 1.3834, 0.0012);
    // Printed shortest interval; the law is flat at its ends.
    near(y!.shortestInterval[0], 1.0834, 0.004);
    near(y!.shortestInterval[1], 1.3825, 0.004);
    const variances = [0.05, 0.02, 0.1 / Math.sqrt(3), 1000 / Math.sqrt(3), 50 / Math.sqrt(3)].map((u) => u * u);
    const covariance = variances.flatMap((v, i) => variances.map((_, j) => (i === j ? v : 0)));
    const linear = propagateUncertainty(model, [100_000, 1.234, 1.2, 8000, 8000], covariance);
    near(linear.standardUncertainties[0]!, 0.053852, 5e-7);
    near(linear.values[0]! - 1.959964 * linear.standardUncertainties[0]!, 1.1285, 5e-5);
    near(linear.values[0]! + 1.959964 * linear.standardUncertainties[0]!, 1.3395, 5e-5);
  });

  it('logarithm of a rectangular input (NPL report DEM-ES-011)', () => {
    const [y] = run('log', (x) => [Math.log(x[0]!)], [rectangularInput(0.1, 1.1)]).outputs;
    near(y!.mean, -0.6649, 0.004);
    near(y!.standardUncertainty, 0.606227, 0.003);
    near(y!.shortestInterval[0], -1.897, 0.012);
    near(y!.shortestInterval[1], 0.095, 0.003);
    const linear = propagateUncertainty((x) => [Math.log(x[0]!)], [0.6], [1 / 12]);
    near(linear.values[0]!, -0.511, 5e-4);
    near(linear.standardUncertainties[0]!, 0.481, 5e-4);
  });
});

describe('JCGM 102, 9.3: polar from Cartesian coordinates', () => {
  const polar = (x: ArrayLike<number>): number[] => [Math.hypot(x[0]!, x[1]!), Math.atan2(x[1]!, x[0]!)];
  const polarRun = (re: number, rho: number) => {
    const covariance = [1e-4, rho * 1e-4, rho * 1e-4, 1e-4];
    return {
      drawn: propagateDistributions(
        polar,
        jointNormalInputs([re, 0], covariance),
        makeRandom(1, `polar ${re} ${rho}`),
        {
          trialCount: TRIALS,
        },
      ).outputs,
      linear: propagateUncertainty(polar, [re, 0], covariance),
    };
  };

  it('agrees with the published table', () => {
    for (const [re, rho, amplitude, uAmplitude, phase, uPhase] of [
      [0.001, 0, 0.0126, 0.0066, null, 1.744],
      [0.001, 0.9, 0.0117, 0.008, -0.556, 1.599],
      [0.01, 0.9, 0.0153, 0.0081, -0.343, 0.903],
      [0.1, 0, 0.1005, 0.01, null, 0.1005],
    ] as const) {
      const { drawn } = polarRun(re, rho);
      near(drawn[0]!.mean, amplitude, 1e-4);
      near(drawn[0]!.standardUncertainty, uAmplitude, 1e-4);
      if (phase !== null) near(drawn[1]!.mean, phase, 0.012);
      near(drawn[1]!.standardUncertainty, uPhase, 0.006);
    }
  });

  it('the linear law claims ten radians near the origin, and is right far from it', () => {
    const near0 = polarRun(0.001, 0);
    near(near0.linear.values[0]!, 0.001, 1e-15);
    near(near0.linear.standardUncertainties[0]!, 0.01, 1e-8);
    near(near0.linear.standardUncertainties[1]!, 10, 1e-4);
    near(polarRun(0.1, 0).linear.standardUncertainties[1]!, 0.1, 1e-8);
  });
});

describe('drawing inputs', () => {
  it('has the standard uncertainties of the shapes (JCGM 101, table 1)', () => {
    const { outputs, covariance } = propagateDistributions(
      (x) => x,
      independentInputs([triangularInput(1, 3), arcsineInput(1, 3), studentInput(5, 2, 7), rectangularInput(1, 3)]),
      makeRandom(1, 'shapes'),
      { trialCount: 200_000 },
    );
    near(outputs[0]!.standardUncertainty, 1 / Math.sqrt(6), 0.003);
    near(outputs[1]!.standardUncertainty, 1 / Math.sqrt(2), 0.004);
    near(outputs[2]!.standardUncertainty, 2 * Math.sqrt(7 / 5), 0.03);
    near(outputs[2]!.symmetricInterval[1], 5 + 2 * 2.3646, 0.06);
    near(outputs[3]!.standardUncertainty, 1 / Math.sqrt(3), 0.003);
    near(covariance[1]! / Math.sqrt(covariance[0]! * covariance[5]!), 0, 0.01);
  });

  it('repeats for a seed, differs between seeds, and keeps given correlations', () => {
    const draw = (seed: number) =>
      propagateDistributions((x) => x, jointNormalInputs([1e7, 0], [4, 3, 3, 9]), makeRandom(seed, 'joint'), {
        trialCount: 50_000,
      });
    const [a, b] = [draw(1), draw(1)];
    expect(a).toEqual(b);
    expect(draw(2)).not.toEqual(a);
    near(a.covariance[1]!, 3, 0.15);
    near(a.covariance[0]!, 4, 0.12);
    near(a.outputs[0]!.mean, 1e7, 0.04);
  });

  it('refuses what is no distribution', () => {
    expect(() => jointNormalInputs([0, 0], [1, 2, 2, 1])).toThrow(RangeError);
    expect(() => studentInput(0, 1, 0)).toThrow(RangeError);
    const draw = independentInputs([normalInput(0, 1)]);
    expect(() => propagateDistributions((x) => x, draw, makeRandom(1, 'x'), { trialCount: 1 })).toThrow(RangeError);
    expect(() => propagateDistributions((x) => x, draw, makeRandom(1, 'x'), { coverage: 1 })).toThrow(RangeError);
  });
});
