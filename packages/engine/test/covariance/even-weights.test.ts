import { describe, expect, it } from 'vitest';
import type { OverlapErrors, PatchedOverlap } from '../../src/covariance/patched-overlap.ts';
import { evenVariance, weighEvenly } from '../../src/covariance/weigh-overlap.ts';
import {
  adjustNetwork,
  choleskyFactor,
  choleskySolve,
  makeRunContext,
  type NetworkAdjustment,
  type OverlapCorrelation,
  type OverlapObservation,
} from '../../src/index.ts';
import { doorStrip, overlapOfErrors, scanErrors } from './door-strip.ts';

const SIGMA = 0.05;
const LENGTH = 60;
/** The truth of `scanErrors` for the difference of two scans. */
const ERRORS: OverlapErrors = {
  nugget: SIGMA ** 2,
  nuggetShareOfA: 0.5,
  fields: [{ variance: SIGMA ** 2, length: LENGTH, shareOfA: 0.5 }],
};
const STRIP = doorStrip(12, 30);

function overlapOfTrial(name: string): PatchedOverlap {
  const [a, b] = ['a', 'b'].map((scan) => scanErrors(STRIP, SIGMA, LENGTH, `even ${name} ${scan}`));
  return overlapOfErrors(STRIP, [`${name}a`, `${name}b`], a, b, SIGMA);
}

/** Overlaps of the same two frames, measured at the true pose, with every match stated as of this variance. */
function adjustEvenly(overlaps: readonly PatchedOverlap[], variance: number): Promise<NetworkAdjustment> {
  const correlations: OverlapCorrelation[] = [];
  const observations = overlaps.map((overlap): OverlapObservation => {
    const { weighed, excess } = weighEvenly(overlap, ERRORS, variance);
    const { tie, bFromA0, reference } = overlap;
    correlations.push({ tieA: tie, tieB: tie, gradientCovariance: Array.from(excess) });
    return {
      kind: 'overlap',
      tie,
      frameA: 'A',
      frameB: 'B',
      scanA: overlap.scanA.id,
      scanB: overlap.scanB.id,
      bFromA0,
      reference,
      // The bare form; the weighed one counts.
      information: Array.from({ length: 36 }, (_, k) => weighed.form.information[7 * Math.floor(k / 6) + (k % 6)]),
      gradient: weighed.form.gradient.slice(0, 6),
      sumSquares: weighed.form.sumSquares,
      count: overlap.patches.count,
      effectiveCount: overlap.patches.count,
      sigma: SIGMA,
      largest: SIGMA,
      overlapShare: 1,
      weakDirections: [],
      weighed: weighed.form,
    };
  });
  return adjustNetwork(
    observations,
    { datum: { kind: 'fixed-frame', frame: 'B' }, correlations, enlarge: 'never', judge: null },
    makeRunContext(),
  );
}

describe('matches that count alike', () => {
  it('state a covariance that holds the truth, whatever variance the weights state', async () => {
    for (const factor of [0.1, 1]) {
      let squares = 0;
      let held = 0;
      const trials = 60;
      for (let trial = 0; trial < trials; trial++) {
        const overlap = overlapOfTrial(`${trial}`);
        const variance = factor * evenVariance(overlap, ERRORS);
        const { frames } = await adjustEvenly([overlap], variance);
        const frame = frames.find((f) => f.frame === 'A');
        if (!frame?.jobFromFrame || !frame.covariance || !frame.covarianceReference) throw new Error('A was refused.');
        // The true pose is no motion at all.
        const { rotation, translation } = frame.jobFromFrame;
        const r = [1, 2, 3].map((k) => 2 * (rotation[k as 1] as number) * Math.sign(rotation[0]));
        const c = frame.covarianceReference;
        const shift = [0, 1, 2].map((k) => {
          const [p, q] = [(k + 1) % 3, (k + 2) % 3];
          return (translation[k as 0] as number) + r[p] * c[q as 0] - r[q] * c[p as 0];
        });
        const motion = [...shift, ...r];
        const solved = choleskySolve(choleskyFactor(frame.covariance, 6) as Float64Array, 6, motion);
        const square = motion.reduce((sum, x, k) => sum + x * solved[k], 0);
        squares += square;
        if (square <= 12.5916) held++;
      }
      // 360 squared numbers: their mean has a standard deviation of 0.075.
      expect(squares / trials / 6).toBeGreaterThan(0.75);
      expect(squares / trials / 6).toBeLessThan(1.3);
      // Binomial: fewer than 50 of 60 at 95 % come once in two thousand.
      expect(held).toBeGreaterThanOrEqual(50);
    }
  });

  it('test the whole against what the errors let expect, not against the stated variance', async () => {
    let factors = 0;
    let alarms = 0;
    const trials = 60;
    for (let trial = 0; trial < trials; trial++) {
      const overlaps = [overlapOfTrial(`first ${trial}`), overlapOfTrial(`second ${trial}`)];
      const result = await adjustEvenly(overlaps, 0.2 * evenVariance(overlaps[0], ERRORS));
      expect(result.redundancy).toBe(6);
      factors += result.varianceFactor ?? Number.NaN;
      if (result.globalTest && result.globalTest.probability < 0.05) alarms++;
      // vPv itself is about five times the redundancy.
      if (trial === 0) expect(result.globalTest?.degreesOfFreedom).toBeLessThan(6.001);
    }
    expect(factors / trials).toBeGreaterThan(0.75);
    expect(factors / trials).toBeLessThan(1.3);
    // Binomial: more than 9 of 60 at 5 % come once in five hundred.
    expect(alarms).toBeLessThanOrEqual(9);
  });
});
