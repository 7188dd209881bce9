import {
  type AdjustableObservation,
  type AdjustNetworkOptions,
  adjustNetwork,
  makeRunContext,
  type NetworkAdjustment,
  type ScalarResidual,
  type Vec3,
} from '@lapjoint/engine';
import { inverse, Matrix } from 'ml-matrix';
import { describe, expect, it } from 'vitest';
import {
  BLANKENBACH,
  distanceOf,
  fixedPoint,
  GHILANI_VECTORS,
  HOEPKE_DISTANCES,
  HOEPKE_POINTS,
  heldAxes,
  levelled,
  MM,
  NIEMEIER_LEVELS,
  rows,
} from './published-networks.ts';

// Textbook networks as collected, with printed answers, by F. Krumm, Geodetic Network Adjustment Examples, Stuttgart 2020.

const run = (
  observations: readonly AdjustableObservation[],
  options: Partial<AdjustNetworkOptions> = {},
): Promise<NetworkAdjustment> =>
  adjustNetwork(observations, { enlarge: 'never', datum: { kind: 'priors' }, ...options }, makeRunContext());

function near(actual: number | null | undefined, expected: number, tolerance: number): void {
  expect(Math.abs((actual as number) - expected), `${actual} is not ${expected}`).toBeLessThanOrEqual(tolerance);
}

const place = (result: NetworkAdjustment, name: string): Vec3 => {
  const target = result.targets.find((t) => t.name === name);
  if (!target) throw new Error(`no point ${name}`);
  return target.position;
};
/** A posteriori standard deviations, mm. */
const deviations = (result: NetworkAdjustment, name: string): number[] => {
  const { covariance } = result.targets.find((t) => t.name === name)!;
  return [0, 4, 8].map((k) => Math.sqrt(covariance[k]! * result.varianceFactor!));
};
const scalarsOf = (result: NetworkAdjustment, kind: string): ScalarResidual[] =>
  result.scalars.filter((s) => s.kind === kind);

describe('levelling, Ghilani 2010 Ex. 12.6', () => {
  const heights = [
    levelled('A', 'B', 10.509, 6),
    levelled('B', 'C', 5.36, 4),
    levelled('C', 'D', -8.523, 5),
    levelled('D', 'A', -7.348, 3),
    levelled('B', 'D', -3.167, 4),
    levelled('A', 'C', 15.881, 12),
  ];
  const observations = [
    fixedPoint('A', [0, 0, 437.596]),
    ...heights,
    ...['B', 'C', 'D'].map((p) => heldAxes(p, [0, 1])),
  ];

  it('heights, standard deviations, residuals and redundancy numbers', async () => {
    const result = await run(observations);
    expect(result.converged).toBe(true);
    expect(result.redundancy).toBe(3);
    near(result.varianceFactor, 0.424040943, 1e-9);
    for (const [name, height, sd] of [
      ['B', 448.108711729, 2.2953],
      ['C', 453.468467783, 2.6363],
      ['D', 444.943605331, 1.7607],
    ] as const) {
      near(place(result, name)[2] / MM, height, 1e-9);
      near(deviations(result, name)[2], sd, 5e-5);
    }
    const levels = scalarsOf(result, 'difference');
    // Printed as adjusted minus observed; ours are observed minus adjusted.
    [3.7117, -0.2439, -1.8625, 0.3947, 1.8936, -8.5322].forEach((v, k) => {
      near(levels[k]?.residual, -v, 5e-5);
    });
    [0.654869, 0.329448, 0.509175, 0.187705, 0.432621, 0.886182].forEach((r, k) => {
      near(levels[k]?.redundancy, r, 5e-7);
    });
    const largest = levels.reduce((a, b) => (Math.abs(b.standardised!) > Math.abs(a.standardised!) ? b : a));
    expect(largest.name).toBe('A - B');
    near(Math.abs(largest.standardised!), 0.764, 5e-4);
    near(result.globalTest?.degreesOfFreedom, 3, 0);
  });
});

describe('free levelling network, Niemeier 2008 pp. 153-156', () => {
  const start = new Map<string, Vec3>(
    [68.927, 60.712, 63.193, 56.286, 44.324, 67.228].map((h, i) => [String(i + 1), [0, 0, h * MM]]),
  );
  const levels = rows(NIEMEIER_LEVELS).map(([from, to, dh, length]) =>
    levelled(from!, to!, Number(dh), Math.sqrt(Number(length) / 1000)),
  );
  const names = [...start.keys()];
  const observations = [...levels, ...names.map((p) => heldAxes(p, [0, 1]))];
  const heights = (result: NetworkAdjustment): number[] => names.map((n) => place(result, n)[2] / MM);
  const trace = (result: NetworkAdjustment): number =>
    names.reduce((sum, n) => sum + result.targets.find((t) => t.name === n)!.covariance[8]!, 0);

  it('minimum trace over points 1, 3 and 5', async () => {
    const result = await run(observations, {
      datum: { kind: 'inner-constraints', points: ['1', '3', '5'] },
      startPoints: start,
    });
    [68.924873, 60.716658, 63.195169, 56.285226, 44.323958, 67.229404].forEach((h, i) => {
      near(heights(result)[i], h, 6e-7);
    });
    expect(result.redundancy).toBe(4);
    near(Math.sqrt(result.varianceFactor!), 3.394176, 5e-7);
    [1.7519, 1.6498, 1.1349, 1.9386, 1.5997, 2.0003].forEach((sd, i) => {
      near(deviations(result, names[i]!)[2], sd, 5e-5);
    });
    near(trace(result), 1.510127, 5e-7);
    const numbers = scalarsOf(result, 'difference');
    [0.286924, 0.556564, 0.365569, 0.462882, 0.61902, 0.634644, 0.236827, 0.389571, 0.447998].forEach((r, k) => {
      near(numbers[k]?.redundancy, r, 6e-7);
    });
    const largest = numbers.reduce((a, b) => (Math.abs(b.standardised!) > Math.abs(a.standardised!) ? b : a));
    expect(largest.name).toBe('2 - 3');
    near(Math.abs(largest.standardised!), 6.134, 5e-4);
    near(Math.abs(largest.tau!), 1.807, 5e-4);
  });

  it('minimum trace over all points, and one point fixed: other heights, same residuals', async () => {
    const all = await run(observations, { datum: { kind: 'inner-constraints' }, startPoints: start });
    [68.923991, 60.715777, 63.194288, 56.284345, 44.323077, 67.228523].forEach((h, i) => {
      near(heights(all)[i], h, 6e-7);
    });
    near(trace(all), 1.324098, 5e-7);
    const sixth = await run([...observations, fixedPoint('6', [0, 0, 67.228])], { startPoints: start });
    [68.9235, 60.7153, 63.1938, 56.2838, 44.3226].forEach((h, i) => {
      near(heights(sixth)[i], h, 5e-5);
    });
    const first = await run([...observations, fixedPoint('1', [0, 0, 68.927])], { startPoints: start });
    near(trace(first), 3.447336, 5e-7);
    const [a, b] = [scalarsOf(all, 'difference'), scalarsOf(sixth, 'difference')];
    a.forEach((s, k) => {
      near(s.residual, b[k]!.residual, 1e-8);
      near(s.redundancy, b[k]!.redundancy, 1e-9);
    });
  });
});

describe('trilateration, Ghilani 2010 Ex. 14.5', () => {
  const network = (badgerWisconsin: number): AdjustableObservation[] => [
    fixedPoint('Badger', [2410000, 390000, 0]),
    fixedPoint('Bucky', [2411820, 386881.222, 0]),
    distanceOf('Badger', 'Wisconsin', badgerWisconsin, 0.01),
    distanceOf('Badger', 'Campus', 7297.588, 0.01),
    distanceOf('Wisconsin', 'Campus', 3616.434, 0.01),
    distanceOf('Wisconsin', 'Bucky', 5742.878, 0.01),
    distanceOf('Campus', 'Bucky', 5123.76, 0.01),
    heldAxes('Wisconsin', [2]),
    heldAxes('Campus', [2]),
  ];
  const startPoints = new Map<string, Vec3>([
    ['Wisconsin', [2415776.819e3, 391043.461e3, 0]],
    ['Campus', [2416898.227e3, 387602.294e3, 0]],
  ]);

  it('coordinates; with redundancy one all standardised residuals are equal', async () => {
    const result = await run(network(5870.302), { startPoints });
    const [w, c] = [place(result, 'Wisconsin'), place(result, 'Campus')];
    for (const [value, expected] of [
      [w[0], 2415776.9044],
      [w[1], 391043.2945],
      [c[0], 2416892.6955],
      [c[1], 387603.2551],
    ] as const)
      near(value / MM, expected, 6e-5);
    expect(result.redundancy).toBe(1);
    near(Math.sqrt(result.varianceFactor!), 13.5905, 5e-5);
    [...deviations(result, 'Wisconsin').slice(0, 2), ...deviations(result, 'Campus').slice(0, 2)].forEach((sd, k) => {
      near(sd / MM, [0.1488, 0.2206, 0.1038, 0.2705][k]!, 5e-5);
    });
    for (const s of scalarsOf(result, 'distance')) near(Math.abs(s.standardised!), 13.5905, 5e-4);
  });

  it('with the distance that fits', async () => {
    const result = await run(network(5870.64), { startPoints });
    near(Math.sqrt(result.varianceFactor!), 0.0092, 5e-5);
    near(place(result, 'Wisconsin')[0] / MM, 2415777.2333, 6e-5);
    near(place(result, 'Wisconsin')[1] / MM, 391043.0668, 6e-5);
  });
});

describe('free trilateration, Strang & Borre 1997 Ex. 12.4', () => {
  const toP = [
    distanceOf('1', 'P', 100.01, 0.01),
    distanceOf('2', 'P', 100.02, 0.01),
    distanceOf('3', 'P', 100.03, 0.01),
  ];
  const startPoints = new Map<string, Vec3>([
    ['P', [170.71e3, 170.71e3, 0]],
    ['1', [170.71e3, 270.71e3, 0]],
    ['2', [100e3, 100e3, 0]],
    ['3', [241.42e3, 100e3, 0]],
  ]);

  it('inner constraints on all points: two shifts and one rotation', async () => {
    const result = await run(
      [
        ...toP,
        distanceOf('1', '2', 184.785, 0.01),
        distanceOf('2', '3', 141.44, 0.01),
        distanceOf('1', '3', 184.805, 0.01),
        ...['P', '1', '2', '3'].map((p) => heldAxes(p, [2])),
      ],
      { datum: { kind: 'inner-constraints' }, startPoints },
    );
    for (const [name, x, y] of [
      ['P', 170.712266, 170.71853],
      ['1', 170.703203, 270.721332],
      ['2', 99.991212, 99.99714],
      ['3', 241.433319, 99.982998],
    ] as const) {
      near(place(result, name)[0] / MM, x, 1e-6);
      near(place(result, name)[1] / MM, y, 1e-6);
    }
    expect(result.redundancy).toBe(1);
    near(Math.sqrt(result.varianceFactor!), 1.176363, 5e-7);
    const [sx, sy] = deviations(result, 'P');
    near(sx, 10.79, 5e-3);
    near(sy, 6.82, 5e-3);
  });

  it('three points fixed', async () => {
    const result = await run(
      [
        ...toP,
        fixedPoint('1', [170.71, 270.71, 0]),
        fixedPoint('2', [100, 100, 0]),
        fixedPoint('3', [241.42, 100, 0]),
        heldAxes('P', [2]),
      ],
      { startPoints },
    );
    near(place(result, 'P')[0] / MM, 170.702925, 5e-7);
    near(place(result, 'P')[1] / MM, 170.723357, 5e-7);
    near(Math.sqrt(result.varianceFactor!), 3.302932, 5e-7);
    const [sx, sy] = deviations(result, 'P');
    near(sx, 33.03, 5e-3);
    near(sy, 23.35, 5e-3);
  });
});

describe('resection in space by distances', () => {
  it('Wolf 1979 p. 87', async () => {
    const stations: [string, Vec3, number][] = [
      ['1', [1200, 900, 900], 499.99],
      ['2', [900, 600, 900], 500],
      ['3', [600, 900, 900], 500.01],
      ['4', [900, 1200, 900], 500.02],
    ];
    const result = await run(
      stations.flatMap(([name, at, d]) => [fixedPoint(name, at), distanceOf(name, 'P', d, 0.01)]),
      { startPoints: new Map([['P', [900e3, 900e3, 1300e3]]]) },
    );
    [900.016667, 899.983333, 1300.006249].forEach((v, k) => {
      near(place(result, 'P')[k]! / MM, v, 5e-7);
    });
    near(Math.sqrt(result.varianceFactor!), 1, 5e-7);
    [11.785, 11.785, 6.25].forEach((sd, k) => {
      near(deviations(result, 'P')[k], sd, 5e-4);
    });
    for (const s of scalarsOf(result, 'distance')) {
      near(Math.abs(s.residual), 5, 1e-3);
      near(s.redundancy, 0.25, 5e-5);
    }
  });

  const blankenbach = (without: readonly string[]): AdjustableObservation[] =>
    rows(BLANKENBACH)
      .filter(([name]) => !without.includes(name!))
      .flatMap(([name, x, y, z, d]) => [
        fixedPoint(name!, [Number(x), Number(y), Number(z)]),
        distanceOf(name!, 'MS', Number(d), 0.05),
      ]);
  const startPoints = new Map<string, Vec3>([['MS', [-2590, 24220, 9620]]]);

  it('Blankenbach & Willert 2009: the two blunders stand out, and without them the rest fits', async () => {
    const all = await run(blankenbach([]), { startPoints });
    [-2.304237, 24.310094, 9.524783].forEach((v, k) => {
      near(place(all, 'MS')[k]! / MM, v, 1e-6);
    });
    expect(all.redundancy).toBe(5);
    near(Math.sqrt(all.varianceFactor!), 11.5825, 5e-5);
    const order = [...scalarsOf(all, 'distance')].sort((a, b) => Math.abs(b.standardised!) - Math.abs(a.standardised!));
    expect(order.slice(0, 2).map((s) => s.name)).toEqual(['51 - MS', '103 - MS']);
    near(order[0]!.standardised, 25.09, 5e-3);
    near(order[0]!.tau, 2.166, 5e-4);
    near(order[1]!.standardised, 11.41, 5e-3);
    const rest = await run(blankenbach(['51', '103']), { startPoints });
    [-2.507747, 24.320218, 9.775316].forEach((v, k) => {
      near(place(rest, 'MS')[k]! / MM, v, 1e-6);
    });
    near(Math.sqrt(rest.varianceFactor!), 0.612902, 5e-7);
    [17.7, 21.2, 83.3].forEach((sd, k) => {
      near(deviations(rest, 'MS')[k], sd, 5e-2);
    });
    near(Math.max(...scalarsOf(rest, 'distance').map((s) => Math.abs(s.standardised!))), 1.027, 5e-4);
  });

  it('Huber weights bring the raw solution near the clean one', async () => {
    const off = (r: NetworkAdjustment): number =>
      Math.hypot(...place(r, 'MS').map((v, k) => v - [-2507.747, 24320.218, 9775.316][k]!));
    const raw = await run(blankenbach([]), { startPoints });
    const robust = await run(blankenbach([]), { startPoints, robust: 'huber' });
    expect(robust.converged).toBe(true);
    expect(off(robust)).toBeLessThan(0.4 * off(raw));
    const low = scalarsOf(robust, 'distance').filter((s) => s.robustWeight < 0.5);
    expect(low.map((s) => s.name).sort()).toEqual(['103 - MS', '51 - MS']);
  });
});

describe('vectors with full covariances, Ghilani 2010 ch. 17', () => {
  it('coordinates, vPv and standard deviations', async () => {
    const vectors = rows(GHILANI_VECTORS).map(([from, to, ...numbers]): AdjustableObservation => {
      const [dx, dy, dz, xx, xy, xz, yy, yz, zz] = numbers.map(Number) as [
        number,
        number,
        number,
        number,
        number,
        number,
        number,
        number,
        number,
      ];
      const information = inverse(
        new Matrix([
          [xx, xy, xz],
          [xy, yy, yz],
          [xz, yz, zz],
        ]).mul(MM * MM),
      );
      return {
        kind: 'difference',
        tie: 'vectors',
        pointA: from!,
        pointB: to!,
        vector: [dx * MM, dy * MM, dz * MM],
        information: information.add(information.transpose()).mul(0.5).to1DArray(),
      };
    });
    const result = await run([
      fixedPoint('A', [402.35087, -4652995.30109, 4349760.77753]),
      fixedPoint('B', [8086.03178, -4642712.84739, 4360439.08326]),
      ...vectors,
    ]);
    for (const [name, x, y, z, sx, sy, sz] of [
      ['C', 12046.58076, -4649394.08256, 4353160.06443, 6.078, 6.123, 5.972],
      ['D', -3081.58313, -4643107.36915, 4359531.12333, 4.945, 5.062, 5.137],
      ['E', -4919.33908, -4649361.21987, 4352934.4548, 5.234, 5.265, 5.173],
      ['F', 1518.80119, -4648399.14533, 4354116.69141, 2.67, 2.819, 2.795],
    ] as const) {
      [x, y, z].forEach((v, k) => {
        near(place(result, name)[k]! / MM, v, 6e-6);
      });
      [sx, sy, sz].forEach((sd, k) => {
        near(deviations(result, name)[k], sd, 6e-4);
      });
    }
    near(result.weightedSumSquares, 13.514475, 5e-7);
    expect(result.redundancy).toBe(27);
    near(result.varianceFactor, 0.500536, 5e-7);
    near(1 - result.globalTestProbability!, 0.01444, 5e-6);
  });
});

describe('blunder search, Hoepke 1980 Ex. 35.5 "Sattenhausen"', () => {
  const points = rows(HOEPKE_POINTS);
  const startPoints = new Map<string, Vec3>(points.map(([n, x, y]) => [n!, [Number(x) * MM, Number(y) * MM, 0]]));
  const network = (d1059to75: number): AdjustableObservation[] => [
    ...rows(HOEPKE_DISTANCES).map(([from, to, d]) =>
      distanceOf(from!, to!, from === '1059' && to === '75' ? d1059to75 : Number(d), 0.001),
    ),
    ...points.map(([n]) => heldAxes(n!, [2])),
  ];
  const options = { datum: { kind: 'inner-constraints' as const }, startPoints };
  const byTau = (r: NetworkAdjustment): ScalarResidual[] =>
    [...scalarsOf(r, 'distance')].sort((a, b) => Math.abs(b.tau!) - Math.abs(a.tau!));

  it('the value of the printed results: published coordinates to 0.1 mm', async () => {
    const result = await run(network(1789.449), options);
    expect(result.redundancy).toBe(14);
    for (const [name, , , x, y] of points) {
      near(place(result, name!)[0] / MM, Number(x), 1e-4);
      near(place(result, name!)[1] / MM, Number(y), 1e-4);
    }
    near(Math.sqrt(result.varianceFactor!), 4.95439, 5e-6);
    const worst = byTau(result)[0]!;
    expect(worst.name).toBe('1087 - 20');
    near(Math.abs(worst.tau!), 2.532, 5e-4);
  });

  it('the printed value: the tests point at that distance', async () => {
    const result = await run(network(1789.499), options);
    near(Math.sqrt(result.varianceFactor!), 10.41065, 5e-6);
    const worst = byTau(result)[0]!;
    expect(worst.name).toBe('1059 - 75');
    // Adjusted minus observed -23.4 mm: ours is observed minus adjusted.
    near(worst.standardised, 34.259, 5e-4);
    near(worst.tau, 3.291, 5e-4);
    near(worst.residual, 23.4, 0.05);
    near(worst.redundancy, 0.467168, 5e-7);
    // Critical tau for r = 14 at 0.1 %, and at 5 % over 27 distances (Pope 1976).
    expect(Math.abs(worst.tau!)).toBeGreaterThan(2.845);
    expect(byTau(result)[1]!.tau!).toBeLessThan(2.745);
  });
});
