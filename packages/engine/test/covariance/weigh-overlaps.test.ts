import { CholeskyDecomposition, Matrix, solve } from 'ml-matrix';
import { describe, expect, it } from 'vitest';
import { errorCandidates } from '../../src/covariance/error-candidates.ts';
import { learnErrors } from '../../src/covariance/learn-errors.ts';
import { fieldCorrelation } from '../../src/covariance/patch-kernel.ts';
import { weighOverlap } from '../../src/covariance/weigh-overlap.ts';
import {
  choleskyFactor,
  choleskySolve,
  errorLikelihood,
  type LikelihoodTask,
  makeRunContext,
  type PatchedOverlap,
  type WeighedOverlap,
  weighOverlaps,
} from '../../src/index.ts';
import { doorStrip, overlapOfErrors, scanErrors } from './door-strip.ts';

const SIGMA = 0.05;
const serial = async (tasks: readonly LikelihoodTask[]) => tasks.map(errorLikelihood);
const weigh = (overlaps: readonly PatchedOverlap[]) =>
  weighOverlaps(overlaps, 'learned', null, serial, makeRunContext());

/** 95 % and 6 degrees of freedom. */
const CHI_SQUARE = 12.5916;

function poseForm(form: WeighedOverlap): { information: Float64Array; gradient: Float64Array; answer: Float64Array } {
  const information = Float64Array.from({ length: 36 }, (_, k) => form.information[7 * Math.floor(k / 6) + (k % 6)]);
  const gradient = Float64Array.from(form.gradient.slice(0, 6));
  const answer = choleskySolve(choleskyFactor(information, 6) as Float64Array, 6, gradient).map((x) => -x);
  return { information, gradient, answer };
}

function squareIn(information: Float64Array, x: Float64Array): number {
  let sum = 0;
  for (let i = 0; i < 6; i++) for (let j = 0; j < 6; j++) sum += x[i] * information[6 * i + j] * x[j];
  return sum;
}

function overlapOfTrial(strip: ReturnType<typeof doorStrip>, length: number, trial: number): PatchedOverlap {
  return overlapOfErrors(
    strip,
    ['a', 'b'],
    scanErrors(strip, SIGMA, length, `a ${trial}`),
    scanErrors(strip, SIGMA, length, `b ${trial}`),
    SIGMA,
  );
}

describe('errors that hang together', () => {
  // The experiment of the 60 mm strip around an opening; the true pose error is zero motion. Known truth, own simulation.
  it.each([5, 30, 150])('states 95-per-cent regions that hold the truth, correlation length %i mm', async (length) => {
    const strip = doorStrip(10, 50);
    let held = 0;
    let plain = 0;
    let squares = 0;
    const trials = 50;
    for (let trial = 0; trial < trials; trial++) {
      const overlap = overlapOfTrial(strip, length, trial);
      const { forms } = await weigh([overlap]);
      const { information, answer } = poseForm(forms[0]);
      const square = squareIn(information, answer);
      squares += square;
      if (square <= CHI_SQUARE) held++;
      // As if all points were independent: the Hessian times the residual variance.
      const white = weighOverlap(overlap, { nugget: 2 * SIGMA ** 2, nuggetShareOfA: 0.5, fields: [] });
      const independent = poseForm(white.form);
      if (squareIn(independent.information, independent.answer) <= CHI_SQUARE) plain++;
    }
    // Binomial: 50 trials at 95 % give fewer than 42 once in ten thousand.
    expect(held).toBeGreaterThanOrEqual(42);
    expect(squares / trials / 6).toBeGreaterThan(0.6);
    expect(squares / trials / 6).toBeLessThan(1.6);
    if (length >= 30) expect(plain).toBeLessThan(30);
  });

  it('finds length and strength of a field that the overlaps hold well', async () => {
    const strip = doorStrip(10, 50);
    const overlaps = Array.from({ length: 6 }, (_, k) =>
      overlapOfErrors(
        strip,
        [`a${k}`, `b${k}`],
        scanErrors(strip, SIGMA, 60, `pool a ${k}`),
        scanErrors(strip, SIGMA, 60, `pool b ${k}`),
        SIGMA,
      ),
    );
    const { instruments } = await weigh(overlaps);
    expect(instruments).toHaveLength(1);
    const { fields, white, overlapCount } = instruments[0];
    const total = Math.sqrt(fields.reduce((sum, f) => sum + f.sigma ** 2, 0));
    const mean = fields.reduce((sum, f) => sum + f.sigma ** 2 * Math.log(f.length), 0) / total ** 2;
    expect(overlapCount).toBe(12);
    expect(white / (SIGMA * Math.SQRT1_2)).toBeGreaterThan(0.8);
    expect(white / (SIGMA * Math.SQRT1_2)).toBeLessThan(1.2);
    expect(total / (SIGMA * Math.SQRT1_2)).toBeGreaterThan(0.8);
    expect(total / (SIGMA * Math.SQRT1_2)).toBeLessThan(1.25);
    expect(Math.exp(mean)).toBeGreaterThan(45);
    expect(Math.exp(mean)).toBeLessThan(80);
  });

  it('gives the likelihood that the dense formula gives', () => {
    const strip = doorStrip(20, 100);
    const overlap = overlapOfTrial(strip, 30, 0);
    const candidates = { ...errorCandidates(20, 200), nuggets: [0.37] };
    const { logLikelihood } = errorLikelihood({ patches: overlap.patches, smoothing: 0, noise: 0.07, candidates });
    const S = candidates.strengths.length;
    const dense = (l: number, s: number): number =>
      restrictedByMatrices(overlap, 0.37 * 0.07 ** 2, [
        { variance: (candidates.strengths[s] * 0.07) ** 2, length: candidates.lengths[l] },
      ]);
    // Up to one constant for all candidates.
    const base = dense(0, 1) - logLikelihood[1];
    for (const [l, s] of [
      [0, 5],
      [2, 3],
      [3, 8],
      [4, 6],
    ]) {
      expect(logLikelihood[l * S + s] + base).toBeCloseTo(dense(l, s), 6);
    }
  });

  it('knows what two overlaps share through a common scan', async () => {
    const strip = doorStrip(12, 30);
    const fields = [{ variance: SIGMA ** 2, length: 60, shareOfA: 0.5 }];
    const errors = { nugget: SIGMA ** 2, nuggetShareOfA: 0.5, fields };
    const trials = 400;
    const seen = new Float64Array(36);
    let expected: readonly number[] = [];
    const { sharedScanCorrelations } = await import('../../src/covariance/shared-scan.ts');
    for (let trial = 0; trial < trials; trial++) {
      const [a, b, c] = ['a', 'b', 'c'].map((name) => scanErrors(strip, SIGMA, 60, `${name} shared ${trial}`));
      const overlaps = [
        overlapOfErrors(strip, ['a', 'b'], a, b, SIGMA),
        overlapOfErrors(strip, ['c', 'a'], c, a, SIGMA),
      ];
      const weighed = overlaps.map((o) => weighOverlap(o, errors));
      if (trial === 0) expected = sharedScanCorrelations(overlaps, [errors, errors], weighed)[0].gradientCovariance;
      const [p, q] = weighed.map((w) => w.form.gradient);
      for (let i = 0; i < 6; i++) for (let j = 0; j < 6; j++) seen[6 * i + j] += (p[i] * q[j]) / trials;
    }
    // 400 trials know a covariance to some 10 %; footprints of patches are taken as normal, which costs some per cent more.
    for (let k = 0; k < 6; k++) expect(seen[7 * k] / expected[7 * k]).toBeGreaterThan(0.7);
    for (let k = 0; k < 6; k++) expect(seen[7 * k] / expected[7 * k]).toBeLessThan(1.35);
    expect(expected[0]).toBeLessThan(0);
  });

  it('does not depend on the unit of length', async () => {
    const strip = doorStrip(20, 100);
    const overlap = overlapOfTrial(strip, 30, 1);
    const metre = 1e-3;
    const { patches } = overlap;
    const scaled: PatchedOverlap = {
      ...overlap,
      scanA: scaleScan(overlap.scanA, metre),
      scanB: scaleScan(overlap.scanB, metre),
      reference: [overlap.reference[0] * metre, overlap.reference[1] * metre, overlap.reference[2] * metre],
      patches: {
        ...patches,
        places: patches.places.map((v) => v * metre),
        spreads: patches.spreads.map((v) => v * metre),
        residuals: patches.residuals.map((v) => v * metre),
        jacobians: patches.jacobians.map((v, e) => (e % 6 < 3 ? v : v * metre)),
      },
    };
    const inMm = poseForm((await weigh([overlap])).forms[0]).answer;
    const inMetre = poseForm((await weigh([scaled])).forms[0]).answer;
    inMm.forEach((value, k) => {
      expect(k < 3 ? inMetre[k] / metre : inMetre[k]).toBeCloseTo(value, 10);
    });
  });

  it('knows the mean correlation of two patches', () => {
    // Means over all pairs of points of two square patches, 9 x 9 points each, against the closed form.
    const patch = (x: number, step: number): [number, number][] =>
      Array.from({ length: 81 }, (_, k) => [x + step * ((k % 9) - 4), step * (Math.floor(k / 9) - 4)]);
    const spread = (step: number): number => step * Math.sqrt(80 / 12);
    for (const [distance, length] of [
      [0, 30],
      [20, 30],
      [60, 30],
      [40, 150],
    ]) {
      let sum = 0;
      for (const [x, y] of patch(0, 2))
        for (const [u, v] of patch(distance, 2.5))
          sum += Math.exp(-((x - u) ** 2 + (y - v) ** 2) / length ** 2) / 81 ** 2;
      expect(fieldCorrelation(distance ** 2, spread(2), spread(2.5), length) / sum).toBeCloseTo(1, 1);
    }
  });

  it('learns each pair of instruments by itself', async () => {
    const strip = doorStrip(20, 100);
    const own = overlapOfTrial(strip, 30, 2);
    const other: PatchedOverlap = {
      ...overlapOfTrial(strip, 5, 3),
      tie: 'other',
      scanA: { ...own.scanA, id: 'c', instrument: 'second' },
      scanB: { ...own.scanB, id: 'd', instrument: 'second' },
    };
    const both = await learnErrors([own, other], serial);
    const alone = await learnErrors([own], serial);
    expect(both.overlaps[0]).toEqual(alone.overlaps[0]);
    expect(both.instruments.map((i) => i.instrument)).toEqual(['scanner', 'second']);
  });
});

function scaleScan(scan: PatchedOverlap['scanA'], factor: number): PatchedOverlap['scanA'] {
  return { ...scan, noise: scan.noise * factor, spacing: scan.spacing * factor, reach: scan.reach * factor };
}

/** Restricted log-likelihood by whole matrices (reference: ml-matrix). */
function restrictedByMatrices(
  overlap: PatchedOverlap,
  nugget: number,
  fields: readonly { readonly variance: number; readonly length: number }[],
): number {
  const { count: n, places, spreads, weights, jacobians, residuals } = overlap.patches;
  const covariance = Matrix.zeros(n, n);
  for (let i = 0; i < n; i++) {
    for (let j = 0; j < n; j++) {
      let square = 0;
      for (let a = 0; a < 3; a++) square += (places[3 * i + a] - places[3 * j + a]) ** 2;
      let sum = i === j ? nugget / weights[i] : 0;
      for (const { variance, length } of fields)
        sum += variance * fieldCorrelation(square, spreads[i], spreads[j], length);
      covariance.set(i, j, sum);
    }
  }
  const rows = new Matrix(Array.from({ length: n }, (_, i) => [...jacobians.subarray(6 * i, 6 * i + 6)]));
  const r = Matrix.columnVector([...residuals]);
  const inverse = new CholeskyDecomposition(covariance).solve(Matrix.eye(n));
  const product = rows.transpose().mmul(inverse).mmul(rows);
  const normal = Matrix.add(product, product.transpose()).mul(0.5);
  const right = rows.transpose().mmul(inverse).mmul(r);
  const fitted = right.transpose().mmul(solve(normal, right)).get(0, 0);
  const square = r.transpose().mmul(inverse).mmul(r).get(0, 0) - fitted;
  return -(logDeterminant(covariance) + logDeterminant(normal) + square) / 2;
}

function logDeterminant(m: Matrix): number {
  const factor = new CholeskyDecomposition(m).lowerTriangularMatrix;
  let sum = 0;
  for (let i = 0; i < m.rows; i++) sum += 2 * Math.log(factor.get(i, i));
  return sum;
}
