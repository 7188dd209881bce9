import {
  absoluteOrientation,
  makeRandom,
  type Pose,
  planarOrientation,
  quaternionOfVector,
  rotationMatrix,
  transformPoint,
  type Vec3,
} from '@lapjoint/engine';
import { Matrix, SingularValueDecomposition } from 'ml-matrix';
import { describe, expect, it } from 'vitest';

function expectNear(actual: number, expected: number, tolerance: number): void {
  expect(Math.abs(actual - expected), `${actual} is not ${expected}`).toBeLessThanOrEqual(tolerance);
}

function determinant(m: readonly number[]): number {
  const at = (i: number): number => m[i] as number;
  return (
    at(0) * (at(4) * at(8) - at(5) * at(7)) -
    at(1) * (at(3) * at(8) - at(5) * at(6)) +
    at(2) * (at(3) * at(7) - at(4) * at(6))
  );
}

function randomPose(random: { normal(): number; uniform(): number }, shift: number): Pose {
  return {
    rotation: quaternionOfVector([random.normal() * 2, random.normal() * 2, random.normal() * 2]),
    translation: [random.normal() * shift, random.normal() * shift, random.normal() * shift],
  };
}

function randomPoints(random: { normal(): number }, count: number, size: Vec3): Vec3[] {
  return Array.from({ length: count }, () => [
    random.normal() * size[0],
    random.normal() * size[1],
    random.normal() * size[2],
  ]);
}

describe('planar orientation', () => {
  const source = [
    [0, 0],
    [1, 0],
    [0, 2],
  ] as const;
  const mirrored = [
    [0, 0],
    [-1, 0],
    [0, 2],
  ] as const;

  it('[Umeyama91] worked example: a mirror image still gives a proper rotation, with scale', () => {
    const fit = planarOrientation(source, mirrored, 'least-squares');
    // R = [[0.832050294, 0.554700196], [-0.554700196, 0.832050294]]: determinant +1 by construction of one angle.
    expectNear(Math.cos(fit.angle), 0.832050294, 1e-9);
    expectNear(-Math.sin(fit.angle), 0.554700196, 1e-9);
    expectNear(fit.scale, 0.721110255, 1e-9);
    expectNear(fit.scale, Math.sqrt(13) / 5, 1e-15);
    expectNear(fit.translation[0], -0.8, 1e-9);
    expectNear(fit.translation[1], 0.4, 1e-9);
    expectNear(fit.sumSquares, 1.6, 1e-9);
    expectNear(fit.sumSquares / 3, 8 / 15, 1e-9);
  });

  it('[Umeyama91] worked example, scale held at one', () => {
    const fit = planarOrientation(source, mirrored);
    expectNear(Math.cos(fit.angle), 0.832050294, 1e-9);
    expectNear(-Math.sin(fit.angle), 0.554700196, 1e-9);
    expectNear(fit.translation[0], -0.980483562, 1e-9);
    expectNear(fit.translation[1], 0.296866536, 1e-9);
    expectNear(fit.sumSquares, 1.859264966, 1e-9);
  });

  it('refuses one pair and points in one place', () => {
    expect(() => planarOrientation([[1, 2]], [[3, 4]])).toThrow(RangeError);
    expect(() =>
      planarOrientation(
        [
          [1, 2],
          [1, 2],
        ],
        [
          [3, 4],
          [5, 6],
        ],
      ),
    ).toThrow(RangeError);
  });
});

// Grafarend & Awange 2003, J. Geodesy 77, 66-76: local and geocentric coordinates of seven points, m.
const AWANGE_LOCAL: Vec3[] = [
  [4157222.543, 664789.307, 4774952.099],
  [4149043.336, 688836.443, 4778632.188],
  [4172803.511, 690340.078, 4758129.701],
  [4177148.376, 642997.635, 4760764.8],
  [4137012.19, 671808.029, 4791128.215],
  [4146292.729, 666952.887, 4783859.856],
  [4138759.902, 702670.738, 4785552.196],
];
const AWANGE_GEOCENTRIC: Vec3[] = [
  [4157870.237, 664818.678, 4775416.524],
  [4149691.049, 688865.785, 4779096.588],
  [4173451.354, 690369.375, 4758594.075],
  [4177796.064, 643026.7, 4761228.899],
  [4137659.549, 671837.337, 4791592.531],
  [4146940.228, 666982.151, 4784324.099],
  [4139407.506, 702700.227, 4786016.645],
];

describe('absolute orientation, published cases', () => {
  it('[GrafarendAwange03] seven-point datum transformation with scale', () => {
    const fit = absoluteOrientation(AWANGE_LOCAL, AWANGE_GEOCENTRIC, { scale: 'least-squares' });
    expectNear(fit.scale, 1.0000055825199, 1e-12);
    const [tx, ty, tz] = fit.targetFromSource.translation;
    expectNear(tx, 641.880425, 1e-4);
    expectNear(ty, 68.655345, 1e-4);
    expectNear(tz, 416.398185, 1e-4);
    expectNear(fit.sumSquares, 0.083510537, 1e-8);
    expectNear(Math.sqrt(fit.sumSquares), 0.2889819, 1e-8);
    expectNear(Math.sqrt(fit.sumSquares / 14), 0.07723366, 1e-8);
    const expected = [
      0.999999999979, 0.000004814625, -0.000004332759, -0.000004814646, 0.999999999977, -0.000004840853, 0.000004332736,
      0.000004840874, 0.999999999979,
    ];
    const r = rotationMatrix(fit.targetFromSource.rotation);
    expected.forEach((value, i) => {
      expectNear(r[i] as number, value, 1e-11);
    });
    const arcsec = (180 / Math.PI) * 3600;
    expectNear(((r[7] - r[5]) / 2) * arcsec, 0.9985, 1e-5);
    expectNear(((r[2] - r[6]) / 2) * arcsec, -0.893693, 1e-5);
    expectNear(((r[3] - r[1]) / 2) * arcsec, -0.99309, 1e-5);
    const first = fit.residuals[0] as Vec3;
    expectNear(first[0], 0.093989, 1e-5);
    expectNear(first[1], 0.13511, 1e-5);
    expectNear(first[2], 0.140223, 1e-5);
  });

  it('[GrafarendAwange03] the same points, rigid', () => {
    const fit = absoluteOrientation(AWANGE_LOCAL, AWANGE_GEOCENTRIC);
    const [tx, ty, tz] = fit.targetFromSource.translation;
    expectNear(tx, 665.070341, 1e-4);
    expectNear(ty, 72.426013, 1e-4);
    expectNear(tz, 443.061231, 1e-4);
    expectNear(fit.sumSquares, 0.234346, 1e-6);
    expect(fit.scale).toBe(1);
  });

  // Four points of a photogrammetry exercise with a large rotation; scales recomputed by singular value decomposition.
  const model: Vec3[] = [
    [585.435, 755.475, 102.52],
    [553.175, 988.105, 104.19],
    [424.045, 785.635, 106.125],
    [394.95, 1061.7, 106.07],
  ];
  const ground: Vec3[] = [
    [929.58, 422.8, -0.21],
    [575.36, 480.9, 2.37],
    [812.37, 200.82, -0.24],
    [396.28, 283.24, 0.41],
  ];

  it('similarity with a large rotation, both ways: the least-squares scale is not symmetric', () => {
    const there = absoluteOrientation(model, ground, { scale: 'least-squares' });
    expectNear(there.scale, 1.52828695, 1e-8);
    [1767.846924, -769.925618, -181.348659].forEach((t, k) => {
      expectNear(there.targetFromSource.translation[k] as number, t, 1e-6);
    });
    expectNear(there.sumSquares, 0.042301717, 1e-9);
    const back = absoluteOrientation(ground, model, { scale: 'least-squares' });
    expectNear(back.scale, 0.65432726, 1e-8);
    [141.172322, 1254.486165, 110.837736].forEach((t, k) => {
      expectNear(back.targetFromSource.translation[k] as number, t, 1e-6);
    });
    expectNear(back.sumSquares, 0.018111236, 1e-9);
    expectNear(there.scale * back.scale, 0.999999808, 1e-9);
  });

  it("[Horn87] the symmetric scale's product is one", () => {
    const there = absoluteOrientation(model, ground, { scale: 'symmetric' });
    const back = absoluteOrientation(ground, model, { scale: 'symmetric' });
    expectNear(there.scale * back.scale, 1, 1e-14);
    expect(there.scale).not.toBeCloseTo(1.52828695, 7);
  });

  it('[Horn87] exchange of axes: quaternion (1/2, 1/2, 1/2, 1/2) is 120 degrees about (1, 1, 1)', () => {
    const source: Vec3[] = [
      [1, 0, 0],
      [0, 2, 0],
      [0, 0, 3],
      [0, 0, 0],
    ];
    // R = [[0,0,1],[1,0,0],[0,1,0]]
    const target = source.map(([x, y, z]): Vec3 => [z, x, y]);
    const fit = absoluteOrientation(source, target);
    for (const q of fit.targetFromSource.rotation) expectNear(q, 0.5, 1e-15);
    expectNear(fit.sumSquares, 0, 1e-28);
  });

  it('mirrored tetrahedron: best proper rotation, sum of squares exactly one, and the mirror is named', () => {
    const a: Vec3[] = [
      [0, 0, 0],
      [1, 0, 0],
      [0, 1, 0],
      [0, 0, 1],
    ];
    const b = a.map(([x, y, z]): Vec3 => [x, y, -z]);
    const fit = absoluteOrientation(a, b);
    const expected = [1, -2, -2, -2, 1, -2, 2, 2, -1].map((v) => v / 3);
    const r = rotationMatrix(fit.targetFromSource.rotation);
    expected.forEach((value, i) => {
      expectNear(r[i] as number, value, 1e-14);
    });
    [0.5, 0.5, -0.5].forEach((t, k) => {
      expectNear(fit.targetFromSource.translation[k] as number, t, 1e-14);
    });
    expectNear(fit.sumSquares, 1, 1e-14);
    expectNear(fit.mirroredSumSquares, 0, 1e-28);
    expect(fit.mirrorFitsBetter).toBe(true);
    // The stated singular values (1, 1, 0.25) are those of the sum of products; ours are per unit weight (four points).
    [1, 1, 0.25].forEach((s, k) => {
      expectNear((fit.singularValues[k] as number) * 4, s, 1e-14);
    });
  });

  it('rank: three points off a line hold six parameters, two points or collinear ones five, one place three', () => {
    const triangle: Vec3[] = [
      [0, 0, 0],
      [5, 0, 0],
      [1, 3, 0],
    ];
    const line: Vec3[] = [
      [1, 2, 3],
      [2, 4, 6],
      [4, 8, 12],
    ];
    const place: Vec3[] = [
      [7, 7, 7],
      [7, 7, 7],
      [7, 7, 7],
    ];
    expect(absoluteOrientation(triangle, triangle)).toMatchObject({ rank: 6, layout: 'plane' });
    expect(absoluteOrientation(line, line)).toMatchObject({ rank: 5, layout: 'line' });
    expect(absoluteOrientation(line.slice(0, 2), line.slice(0, 2))).toMatchObject({ rank: 5, layout: 'line' });
    expect(absoluteOrientation(place, place)).toMatchObject({ rank: 3, layout: 'point' });
    // A line stays a line far from the origin and after a turn, where rounding bends it a little.
    const random = makeRandom(1, 'line');
    const far = randomPose(random, 1e7);
    const moved = line.map((p) => transformPoint(far, p));
    expect(absoluteOrientation(moved, line).layout).toBe('line');
    expect(absoluteOrientation(triangle, line).rank).toBe(5);
  });
});

describe('absolute orientation, laws', () => {
  it('recovers exact poses and scales of random points, flat and mirrored ones too, always with determinant +1', () => {
    const random = makeRandom(11, 'orientation');
    for (let trial = 0; trial < 300; trial++) {
      const size: Vec3 = [[100, 80, 60] as const, [100, 80, 0] as const, [100, 1, 0.5] as const][trial % 3] as Vec3;
      const points = randomPoints(random, 3 + (trial % 7), size);
      const truth = randomPose(random, 5000);
      const target = points.map((p) => transformPoint(truth, p));
      const fit = absoluteOrientation(points, target);
      expectNear(determinant(rotationMatrix(fit.targetFromSource.rotation)), 1, 1e-12);
      points.forEach((p, i) => {
        const moved = transformPoint(fit.targetFromSource, p);
        for (let k = 0; k < 3; k++) expectNear(moved[k] as number, (target[i] as Vec3)[k] as number, 1e-8);
      });
      expect(fit.mirrorFitsBetter).toBe(false);
      const noisyMirror = points.map(
        ([x, y, z]): Vec3 => [-x + random.normal() * 0.1, y + random.normal() * 0.1, z + random.normal() * 0.1],
      );
      const other = absoluteOrientation(points, noisyMirror);
      expectNear(determinant(rotationMatrix(other.targetFromSource.rotation)), 1, 1e-12);
    }
  });

  it('agrees with the singular value decomposition of another library, weighted', () => {
    const random = makeRandom(5, 'svd');
    for (let trial = 0; trial < 100; trial++) {
      const n = 4 + (trial % 9);
      const x = randomPoints(random, n, [50, 40, 30]);
      // Noise as large as the points: the sign correction is needed in about half of the trials.
      const y = randomPoints(random, n, [50, 40, 30]);
      const w = Array.from({ length: n }, () => 0.1 + random.uniform());
      const total = w.reduce((a, b) => a + b, 0);
      const mean = (points: Vec3[], k: number): number =>
        points.reduce((sum, p, i) => sum + (w[i] as number) * (p[k] as number), 0) / total;
      const k = Matrix.zeros(3, 3);
      for (let i = 0; i < n; i++) {
        for (let r = 0; r < 3; r++) {
          for (let c = 0; c < 3; c++) {
            const value =
              ((w[i] as number) / total) *
              (((y[i] as Vec3)[r] as number) - mean(y, r)) *
              (((x[i] as Vec3)[c] as number) - mean(x, c));
            k.set(r, c, k.get(r, c) + value);
          }
        }
      }
      const svd = new SingularValueDecomposition(k);
      const u = svd.leftSingularVectors;
      const v = svd.rightSingularVectors;
      const sign = Math.sign(determinant(u.to1DArray()) * determinant(v.to1DArray()));
      const expected = u.mmul(Matrix.diag([1, 1, sign])).mmul(v.transpose());
      const fit = absoluteOrientation(x, y, { weights: w, scale: 'least-squares' });
      const r = rotationMatrix(fit.targetFromSource.rotation);
      expected.to1DArray().forEach((value, i) => {
        expectNear(r[i] as number, value, 1e-9);
      });
      svd.diagonal.forEach((s, i) => {
        expectNear(fit.singularValues[i] as number, s, 1e-9 * (svd.diagonal[0] as number));
      });
    }
  });

  it('does not depend on the unit, on the origin, or on the order of the pairs; roles swapped give the inverse', () => {
    const random = makeRandom(3, 'invariance');
    const x = randomPoints(random, 8, [900, 400, 200]);
    const truth = randomPose(random, 3000);
    const y = x.map((p): Vec3 => {
      const q = transformPoint(truth, p);
      return [q[0] + random.normal() * 0.05, q[1] + random.normal() * 0.05, q[2] + random.normal() * 0.05];
    });
    const fit = absoluteOrientation(x, y);
    const metres = absoluteOrientation(
      x.map((p): Vec3 => [p[0] / 1000, p[1] / 1000, p[2] / 1000]),
      y.map((p): Vec3 => [p[0] / 1000, p[1] / 1000, p[2] / 1000]),
    );
    const far = absoluteOrientation(
      x.map((p): Vec3 => [p[0] + 1e7, p[1] - 1e7, p[2] + 1e7]),
      y,
    );
    const reversed = absoluteOrientation([...x].reverse(), [...y].reverse());
    const swapped = absoluteOrientation(y, x);
    for (let k = 0; k < 4; k++) {
      const q = fit.targetFromSource.rotation[k] as number;
      expectNear(metres.targetFromSource.rotation[k] as number, q, 1e-12);
      // A coordinate near 1e7 carries 2e-9 mm, over 1 m: 2e-12 rad.
      expectNear(far.targetFromSource.rotation[k] as number, q, 1e-10);
      expectNear(reversed.targetFromSource.rotation[k] as number, q, 1e-13);
      expectNear(swapped.targetFromSource.rotation[k] as number, k === 0 ? q : -q, 1e-12);
    }
    expectNear(far.sumSquares, fit.sumSquares, 1e-9 * fit.sumSquares + 1e-8);
  });

  it('refuses what is no set of pairs', () => {
    expect(() => absoluteOrientation([], [])).toThrow(RangeError);
    expect(() => absoluteOrientation([[0, 0, 0]], [])).toThrow(RangeError);
    expect(() => absoluteOrientation([[Number.NaN, 0, 0]], [[0, 0, 0]])).toThrow(RangeError);
    expect(() => absoluteOrientation([[0, 0, 0]], [[0, 0, 0]], { weights: [-1] })).toThrow(RangeError);
    expect(() => absoluteOrientation([[0, 0, 0]], [[0, 0, 0]], { weights: [0] })).toThrow(RangeError);
    expect(() => absoluteOrientation([[0, 0, 0]], [[0, 0, 0]], { scale: 'symmetric' })).toThrow(RangeError);
  });
});
