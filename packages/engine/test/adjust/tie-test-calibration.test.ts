import {
  adjustNetwork,
  chiSquareQuantile,
  invert,
  makeRandom,
  makeRunContext,
  type NetworkObservation,
  type OverlapCorrelation,
  type OverlapObservation,
  type Pose,
  type Random,
  type ScaleTerm,
  transformPoint,
  type Vec3,
} from '@lapjoint/engine';
import { CholeskyDecomposition, Matrix } from 'ml-matrix';
import { describe, expect, it } from 'vitest';
import { makeMixedScene, makeOverlap, randomPose } from './network-scene.ts';

/** Means of the tie statistics over their degrees of freedom, and how often 5 % is exceeded. */
class Tally {
  #sum = 0;
  #degrees = 0;
  #count = 0;
  #over = 0;

  add(test: { readonly statistic: number; readonly degreesOfFreedom: number } | null): void {
    if (test === null || test.degreesOfFreedom === 0) return;
    this.#sum += test.statistic;
    this.#degrees += test.degreesOfFreedom;
    this.#count++;
    if (test.statistic > chiSquareQuantile(0.05, test.degreesOfFreedom)) this.#over++;
  }

  /** Statistics of one network hang together: bands count networks. */
  check(networks: number): void {
    expect(Math.abs(this.#sum / this.#degrees - 1)).toBeLessThan(4 * Math.sqrt(2 / (6 * networks)));
    expect(Math.abs(this.#over / this.#count - 0.05)).toBeLessThan(4 * Math.sqrt((0.05 * 0.95) / networks));
  }

  get mean(): number {
    return this.#sum / this.#degrees;
  }
}

const TRIALS = 50;

describe('tie statistics of good networks follow chi-square', () => {
  it('for all kinds of ties with independent errors', async () => {
    const tally = new Tally();
    for (let seed = 0; seed < TRIALS; seed++) {
      const { observations } = makeMixedScene(7000 + seed, 4);
      const result = await adjustNetwork(observations, {}, makeRunContext());
      for (const t of result.ties) tally.add(t.test);
    }
    tally.check(TRIALS);
  });

  it('for overlaps that share a scan and its errors', async () => {
    const tally = new Tally();
    const blind = new Tally();
    for (let seed = 0; seed < TRIALS; seed++) {
      const { observations, correlations } = sharedScanNetwork(makeRandom(seed, 'shared scans'));
      const result = await adjustNetwork(observations, { correlations }, makeRunContext());
      for (const t of result.ties) tally.add(t.test);
      const independent = await adjustNetwork(observations, {}, makeRunContext());
      for (const t of independent.ties) blind.add(t.test);
    }
    tally.check(TRIALS);
    // The test can fail: taken as independent, the same overlaps agree too well or too badly.
    expect(Math.abs(blind.mean - 1)).toBeGreaterThan(4 * Math.sqrt(2 / (6 * TRIALS)));
  });

  it('for frames whose scales are wrong by no more than is stated', async () => {
    const [tally, withUnknowns, blind] = [new Tally(), new Tally(), new Tally()];
    for (let seed = 0; seed < TRIALS; seed++) {
      const { observations, scaleTerms } = scaledNetwork(makeRandom(seed, 'scales'));
      const result = await adjustNetwork(observations, { scaleTerms }, makeRunContext());
      for (const t of result.ties) tally.add(t.test);
      const estimated = scaleTerms.map((t) => ({ ...t, isEstimated: true }));
      const solved = await adjustNetwork(observations, { scaleTerms: estimated }, makeRunContext());
      for (const t of solved.ties) withUnknowns.add(t.test);
      const unaware = await adjustNetwork(observations, {}, makeRunContext());
      for (const t of unaware.ties) blind.add(t.test);
    }
    tally.check(TRIALS);
    withUnknowns.check(TRIALS);
    expect(blind.mean).toBeGreaterThan(1.5);
  });
});

const root = (m: Matrix): Matrix => new CholeskyDecomposition(m).lowerTriangularMatrix;

/** Five overlaps between four scans; half of each gradient's noise comes from the two scans and is shared with their other overlaps. */
function sharedScanNetwork(random: Random): {
  observations: OverlapObservation[];
  correlations: OverlapCorrelation[];
} {
  const names = ['A', 'B', 'C', 'D'];
  // Frames that are not turned: the shared errors then cancel around a loop, which is what the test has to know.
  const poses = new Map(
    names.map((n): [string, Pose] => [n, { rotation: [1, 0, 0, 0], translation: [random.normal() * 900, 0, 0] }]),
  );
  const edges = ['AB', 'BC', 'CD', 'DA', 'AC'];
  const share = 0.95;
  const ofScan = new Map(names.map((n) => [n, Array.from({ length: 6 }, () => random.normal())]));
  const roots: Matrix[] = [];
  const observations = edges.map((edge, i): OverlapObservation => {
    const [a, b] = [edge[0]!, edge[1]!];
    const clean = makeOverlap(random, {
      tie: edge,
      frameA: a,
      frameB: b,
      jobFromA: poses.get(a)!,
      jobFromB: poses.get(b)!,
      centre: [600 * Math.cos(i), 600 * Math.sin(i), 0],
      size: 500,
      sigma: 1e-9,
    });
    const sigma = 0.05;
    const w = Matrix.from1DArray(6, 6, [...clean.information]).div(sigma * sigma);
    // Rotations as lengths for the root alone, so that it keeps its digits.
    const unit = Matrix.diag([1, 1, 1, 300, 300, 300]);
    const inverseUnit = Matrix.diag([1, 1, 1, 1 / 300, 1 / 300, 1 / 300]);
    const half = unit.mmul(root(inverseUnit.mmul(w).mmul(inverseUnit)));
    roots.push(half);
    const z = Array.from(
      { length: 6 },
      (_, k) =>
        Math.sqrt(1 - share) * random.normal() + Math.sqrt(share / 2) * (ofScan.get(a)![k]! - ofScan.get(b)![k]!),
    );
    const noise = half.mmul(Matrix.columnVector(z)).to1DArray();
    const information = new Array<number>(49).fill(0);
    for (let r = 0; r < 6; r++) for (let c = 0; c < 6; c++) information[7 * r + c] = w.get(r, c);
    const gradient = [...noise.map((v, k) => clean.gradient[k]! / (sigma * sigma) + v), 0];
    return { ...clean, weighed: { information, gradient, sumSquares: 1e9, patchCount: 60 } };
  });
  const correlations: OverlapCorrelation[] = [];
  edges.forEach((x, i) => {
    edges.slice(i + 1).forEach((y, k) => {
      const j = i + 1 + k;
      let sign = 0;
      for (const [p, s] of [[x[0], 1] as const, [x[1], -1] as const])
        for (const [q, t] of [[y[0], 1] as const, [y[1], -1] as const]) if (p === q) sign += s * t;
      if (sign === 0) return;
      const c = roots[i]!.mmul(roots[j]!.transpose()).mul((sign * share) / 2);
      correlations.push({ tieA: x, tieB: y, gradientCovariance: c.to1DArray() });
    });
  });
  return { observations, correlations };
}

/** Four frames with pairs of points between them; each frame's coordinates are stretched by a random scale of known sigma. */
function scaledNetwork(random: Random): { observations: NetworkObservation[]; scaleTerms: ScaleTerm[] } {
  const sigmaScale = 2e-4;
  const names = ['A', 'B', 'C', 'D'];
  const scaleTerms = names.map(
    (n): ScaleTerm => ({
      name: `scale of ${n}`,
      sigma: sigmaScale,
      coefficients: new Map([[n, 1]]),
      isEstimated: false,
    }),
  );
  const frames = new Map(
    names.map((n) => [n, { pose: randomPose(random, 800), scale: 1 + sigmaScale * random.normal() }]),
  );
  const observations = ['AB', 'BC', 'CD', 'DA', 'AC'].flatMap((tie, i) => {
    const centre = [700 * Math.cos(i), 700 * Math.sin(i), 200 * i];
    return Array.from({ length: 6 }, (): NetworkObservation => {
      const p = centre.map((c) => c + 300 * random.normal()) as unknown as Vec3;
      const see = (frame: string): Vec3 => {
        const { pose, scale } = frames.get(frame)!;
        return transformPoint(invert(pose), p).map((v) => v * scale + 0.05 * random.normal()) as unknown as Vec3;
      };
      const [frameA, frameB] = [tie[0]!, tie[1]!];
      return { kind: 'pair', tie, frameA, frameB, a: see(frameA), b: see(frameB), sigma: 0.05 * Math.SQRT2 };
    });
  });
  return { observations, scaleTerms };
}
