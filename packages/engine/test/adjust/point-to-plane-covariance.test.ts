import { adjustNetwork, makeRandom, makeRunContext, type OverlapObservation, type Vec3 } from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';

function near(actual: number, expected: number, tolerance: number): void {
  expect(Math.abs(actual - expected), `${actual} is not ${expected}`).toBeLessThanOrEqual(tolerance);
}

/** 5 x 5 points on each face of the cube +-1, with normals. */
const CUBE = [0, 1, 2].flatMap((axis) =>
  [-1, 1].flatMap((side) =>
    Array.from({ length: 25 }, (_, i) => {
      const at: number[] = [0, 0, 0];
      at[axis] = side;
      at[(axis + 1) % 3] = -1 + 0.5 * (i % 5);
      at[(axis + 2) % 3] = -1 + 0.5 * Math.floor(i / 5);
      const normal: number[] = [0, 0, 0];
      normal[axis] = side;
      return { at: at as unknown as Vec3, normal: normal as unknown as Vec3 };
    }),
  ),
);

/** Sums of point-to-plane distances at the identity, each with the noise given. */
function overlapOf(noise: (i: number) => number, sigma: number): OverlapObservation {
  const information = new Array<number>(36).fill(0);
  const gradient = new Array<number>(6).fill(0);
  let sumSquares = 0;
  CUBE.forEach(({ at, normal: n }, i) => {
    const row = [...n, at[1] * n[2] - at[2] * n[1], at[2] * n[0] - at[0] * n[2], at[0] * n[1] - at[1] * n[0]];
    const r = noise(i);
    sumSquares += r * r;
    row.forEach((a, k) => {
      gradient[k]! += a * r;
      row.forEach((b, l) => {
        information[6 * k + l]! += a * b;
      });
    });
  });
  return {
    kind: 'overlap',
    tie: 'cube',
    frameA: 'A',
    frameB: 'B',
    scanA: null,
    scanB: null,
    bFromA0: { rotation: [1, 0, 0, 0], translation: [0, 0, 0] },
    reference: [0, 0, 0],
    information,
    gradient,
    sumSquares,
    count: CUBE.length,
    effectiveCount: CUBE.length,
    sigma,
    largest: 1,
    overlapShare: 1,
    weakDirections: [],
    weighed: null,
  };
}

const solve = async (overlap: OverlapObservation) => {
  const result = await adjustNetwork([overlap], { datum: { kind: 'fixed-frame', frame: 'B' } }, makeRunContext());
  return result.frames.find((f) => f.frame === 'A')!;
};

describe('covariance of a pose from point-to-plane distances', () => {
  it('is sigma^2 H^-1 with H = 50 I for the sampled cube (Gelfand 2003): 0.0070711 mm and rad at sigma 0.05', async () => {
    const overlap = overlapOf(() => 0, 0.05);
    overlap.information.forEach((v, e) => {
      near(v, e % 7 === 0 ? 50 : 0, 1e-12);
    });
    const frame = await solve(overlap);
    for (let k = 0; k < 6; k++) near(Math.sqrt(frame.covariance![7 * k]!), 0.0070711, 5e-8);
  });

  it('is what Censi 2007 gives: (d2J)^-1 (d2J/dz) cov(z) (d2J/dz)^T (d2J)^-1 with independent noise of the points', () => {
    // J = sum r^2, r = n . (p - q) + row . m: d2J/dm2 = 2 H; d2J/dm dq = -2 row n^T (at zero residual), cov(q) = sigma^2 I.
    const sigma = 0.05;
    const inverse = 1 / (2 * 50);
    const middle = new Array<number>(36).fill(0);
    for (const { at, normal: n } of CUBE) {
      const row = [...n, at[1] * n[2] - at[2] * n[1], at[2] * n[0] - at[0] * n[2], at[0] * n[1] - at[1] * n[0]];
      for (let k = 0; k < 6; k++)
        for (let l = 0; l < 6; l++)
          for (let c = 0; c < 3; c++) middle[6 * k + l]! += 4 * row[k]! * n[c]! * sigma ** 2 * row[l]! * n[c]!;
    }
    middle.forEach((v, e) => {
      near(inverse * v * inverse, e % 7 === 0 ? sigma ** 2 / 50 : 0, 1e-15);
    });
  });

  it('is the scatter of repeated fits: sigma^2 H^-1 for noise on one side, twice that for both (field report 31)', async () => {
    const sigma = 0.05;
    for (const sides of [1, 2]) {
      const stated = sigma * Math.sqrt(sides);
      const trials = 300;
      const square = new Float64Array(6);
      let expected = 0;
      for (let trial = 0; trial < trials; trial++) {
        const random = makeRandom(trial, `cube ${sides}`);
        const overlap = overlapOf(() => {
          let r = 0;
          for (let s = 0; s < sides; s++) r += sigma * random.normal();
          return r;
        }, stated);
        const frame = await solve(overlap);
        const { rotation: q, translation: t } = frame.jobFromFrame!;
        [...t, 2 * q[1], 2 * q[2], 2 * q[3]].forEach((v, k) => {
          square[k]! += v * v;
        });
        expected = (sides * sigma ** 2) / 50;
      }
      // Four standard deviations of a mean of 6 x 300 squares.
      const ratio = square.reduce((s, v) => s + v, 0) / (6 * trials) / expected;
      near(ratio, 1, 4 * Math.sqrt(2 / (6 * trials)));
    }
  });

  it('two unequal edges between the same frames meet at the weighted mean (field report 33)', async () => {
    // The second edge says 0.3 mm further along x, with twice the sigma: a quarter of the weight, so a fifth of the way.
    const near0 = overlapOf(() => 0, 0.05);
    const far = { ...overlapOf(() => 0, 0.1), tie: 'far' };
    const shifted = { ...far, bFromA0: { ...far.bFromA0, translation: [0.3, 0, 0] as const } };
    const result = await adjustNetwork(
      [near0, shifted],
      { datum: { kind: 'fixed-frame', frame: 'B' }, enlarge: 'never' },
      makeRunContext(),
    );
    const frame = result.frames.find((f) => f.frame === 'A')!;
    near(frame.jobFromFrame!.translation[0], 0.06, 1e-12);
    near(frame.covariance![0]!, 1 / (50 / 0.05 ** 2 + 50 / 0.1 ** 2), 1e-15);
    near(result.weightedSumSquares, (0.06 / 0.05) ** 2 * 50 + (0.24 / 0.1) ** 2 * 50, 1e-9);
  });
});
