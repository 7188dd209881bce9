import {
  absoluteOrientation,
  adjustOrientation,
  isotropicCovariance,
  type Matrix3,
  makeRandom,
  perturb,
  quaternionOfVector,
  rotationMatrix,
  transformPoint,
  type Vec3,
} from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';

function expectNear(actual: number, expected: number, tolerance: number): void {
  expect(Math.abs(actual - expected), `${actual} is not ${expected}`).toBeLessThanOrEqual(tolerance);
}

// Ghilani, Adjustment Computations, three-dimensional conformal transformation, example 18.4 (errors in both: ch. 22).
const SOURCE: Vec3[] = [
  [1094.883, 820.085, 109.821],
  [503.891, 1598.698, 117.685],
  [2349.343, 207.658, 151.387],
  [1395.32, 1348.853, 215.261],
];
const CONTROL: Vec3[] = [
  [10037.81, 5262.09, 772.04],
  [10956.68, 5128.17, 783],
  [8780.08, 4840.29, 782.62],
  [10185.8, 4700.21, 851.32],
];
const SOURCE_SD: Vec3[] = [
  [0.007, 0.008, 0.005],
  [0.011, 0.008, 0.009],
  [0.006, 0.005, 0.007],
  [0.005, 0.008, 0.009],
];
const CONTROL_SD: Vec3[] = [
  [0.05, 0.06, 0.05],
  [0.04, 0.06, 0.09],
  [0.02, 0.04, 0.02],
  [0.03, 0.05, 0.03],
];
const diagonal = (sd: Vec3): Matrix3 => [sd[0] ** 2, 0, 0, 0, sd[1] ** 2, 0, 0, 0, sd[2] ** 2];

/** Degrees, minutes, seconds to radians; the sign is that of the degrees (or of the whole when zero). */
const dms = (sign: number, d: number, m: number, s: number): number => (sign * (d + m / 60 + s / 3600) * Math.PI) / 180;
const SECOND = Math.PI / 180 / 3600;

/** omega, phi, kappa of X = S (R3 R2 R1)^T x + T. */
function angles(rotation: readonly [number, number, number, number]): Vec3 {
  // m = R3(kappa) R2(phi) R1(omega) is the transpose of the rotation that carries x to X.
  const r = rotationMatrix(rotation);
  const m = [r[0], r[3], r[6], r[1], r[4], r[7], r[2], r[5], r[8]];
  const at = (i: number): number => m[i] as number;
  const kappa = Math.atan2(-at(3), at(0));
  return [Math.atan2(-at(7), at(8)), Math.asin(at(6)), kappa < 0 ? kappa + 2 * Math.PI : kappa];
}

describe('[Ghilani10] example 18.4', () => {
  it('unweighted control', () => {
    const fit = absoluteOrientation(SOURCE, CONTROL, { scale: 'least-squares' });
    expectNear(fit.scale, 0.94995694, 5e-9);
    const [omega, phi, kappa] = angles(fit.targetFromSource.rotation);
    expectNear(omega, dms(1, 2, 17, 2.74), 0.006 * SECOND);
    expectNear(phi, dms(-1, 0, 33, 2.97), 0.006 * SECOND);
    expectNear(kappa, dms(1, 224, 32, 13.56), 0.006 * SECOND);
    [10233.8258, 6549.9683, 720.8789].forEach((t, k) => {
      expectNear(fit.targetFromSource.translation[k] as number, t, 6e-5);
    });
    expectNear(fit.sumSquares, 0.018720743, 6e-10);
    const place = (p: Vec3): Vec3 => {
      const s = fit.scale;
      return transformPoint(fit.targetFromSource, [p[0] * s, p[1] * s, p[2] * s]);
    };
    [10721.9968, 5691.217, 766.0616].forEach((t, k) => {
      expectNear(place([265.346, 1003.47, 78.609])[k] as number, t, 6e-5);
    });
    [10043.225, 5675.8862, 816.8602].forEach((t, k) => {
      expectNear(place([784.081, 512.683, 139.551])[k] as number, t, 6e-5);
    });
    // The iterative solution with equal weights is the closed form.
    const iterated = adjustOrientation(SOURCE, CONTROL, {
      scale: 'least-squares',
      targetCovariances: CONTROL.map(() => isotropicCovariance(1)),
    });
    expectNear(iterated.scale, fit.scale, 1e-14);
    expectNear(iterated.weightedSumSquares, fit.sumSquares, 1e-12);
  });

  it('control weighted by its standard deviations', () => {
    const fit = adjustOrientation(SOURCE, CONTROL, {
      scale: 'least-squares',
      targetCovariances: CONTROL_SD.map(diagonal),
    });
    expect(fit.status).toBe('converged');
    expectNear(fit.scale, 0.94995514, 6e-9);
    const [omega, phi, kappa] = angles(fit.targetFromSource.rotation);
    expectNear(omega, dms(1, 2, 16, 59.79), 0.006 * SECOND);
    expectNear(phi, dms(-1, 0, 33, 5.65), 0.006 * SECOND);
    expectNear(kappa, dms(1, 224, 32, 11.62), 0.006 * SECOND);
    [10233.8543, 6549.9645, 720.8656].forEach((t, k) => {
      expectNear(fit.targetFromSource.translation[k] as number, t, 6e-5);
    });
    expect(fit.redundancy).toBe(5);
    expectNear(Math.sqrt(fit.weightedSumSquares / 5), 1.30566, 6e-6);
  });

  it('errors in both systems (general least squares)', () => {
    const fit = adjustOrientation(SOURCE, CONTROL, {
      scale: 'least-squares',
      sourceCovariances: SOURCE_SD.map(diagonal),
      targetCovariances: CONTROL_SD.map(diagonal),
      reference: [0, 0, 0],
    });
    expect(fit.status).toBe('converged');
    // Printed 0.9499549354, cut after the tenth digit.
    expectNear(fit.scale, 0.9499549354, 1e-10);
    const [omega, phi, kappa] = angles(fit.targetFromSource.rotation);
    expectNear(omega, dms(1, 2, 16, 59.9), 0.006 * SECOND);
    expectNear(phi, dms(-1, 0, 33, 5.59), 0.006 * SECOND);
    expectNear(kappa, dms(1, 224, 32, 11.56), 0.006 * SECOND);
    [10233.8542, 6549.9641, 720.8663].forEach((t, k) => {
      expectNear(fit.targetFromSource.translation[k] as number, t, 6e-5);
    });
    const s0 = Math.sqrt(fit.weightedSumSquares / fit.redundancy);
    expectNear(s0, 1.28831, 6e-6);
    const covariance = fit.covariance as Float64Array;
    expectNear(s0 * Math.sqrt(covariance[48]) * fit.scale, 0.0000219, 6e-8);
    // Standard deviation of T itself: of the image of the source's origin.
    const local = adjustOrientation(SOURCE, CONTROL, {
      scale: 'least-squares',
      sourceCovariances: SOURCE_SD.map(diagonal),
      targetCovariances: CONTROL_SD.map(diagonal),
      reference: fit.targetFromSource.translation,
    }).covariance as Float64Array;
    [0.066, 0.0549, 0.2179].forEach((sd, k) => {
      expectNear(s0 * Math.sqrt(local[8 * k] as number), sd, 6e-5);
    });
  });
});

describe('adjusted orientation, laws', () => {
  const random = makeRandom(21, 'adjusted-orientation');
  const truth = {
    rotation: quaternionOfVector([0.4, -1.1, 2]),
    translation: [2000, -500, 100] as Vec3,
  };
  const x: Vec3[] = Array.from({ length: 6 }, () => [
    random.normal() * 800,
    random.normal() * 500,
    random.normal() * 200,
  ]);
  const y = x.map((p): Vec3 => {
    const q = transformPoint(truth, p);
    return [q[0] + random.normal() * 0.1, q[1] + random.normal() * 0.1, q[2] + random.normal() * 0.1];
  });
  const covariance = (s: number): Matrix3 => [s * 4, s, 0, s, s * 2, s * 0.3, 0, s * 0.3, s];
  const cx = x.map((_, i) => covariance(0.002 * (1 + i)));
  const cy = x.map((_, i) => covariance(0.003 * (6 - i)));

  it('finds the least sum of squares: any small motion makes it larger, and the slope there is zero', () => {
    const fit = adjustOrientation(x, y, { sourceCovariances: cx, targetCovariances: cy });
    const cost = (motion: number[]): number => {
      const moved = perturb(fit.targetFromSource, motion, fit.reference);
      const r = rotationMatrix(moved.rotation);
      let sum = 0;
      x.forEach((p, i) => {
        const q = transformPoint(moved, p);
        const e = [0, 1, 2].map((k) => ((y[i] as Vec3)[k] as number) - (q[k] as number));
        const s = cy[i]!.map((value, k) => {
          let rotated = 0;
          for (let a = 0; a < 3; a++)
            for (let b = 0; b < 3; b++)
              rotated += r[3 * Math.floor(k / 3) + a]! * cx[i]![3 * a + b]! * r[3 * (k % 3) + b]!;
          return value + rotated;
        });
        // Cramer's rule: e^T S^-1 e.
        const det3 = (m: number[]): number =>
          m[0]! * (m[4]! * m[8]! - m[5]! * m[7]!) -
          m[1]! * (m[3]! * m[8]! - m[5]! * m[6]!) +
          m[2]! * (m[3]! * m[7]! - m[4]! * m[6]!);
        const d = det3(s);
        for (let k = 0; k < 3; k++) {
          const replaced = s.map((value, l) => (l % 3 === k ? e[Math.floor(l / 3)]! : value));
          sum += (e[k]! * det3(replaced)) / d;
        }
      });
      return sum;
    };
    const least = cost([0, 0, 0, 0, 0, 0]);
    expectNear(least, fit.weightedSumSquares, 1e-9 * least);
    const steps = [1e-3, 1e-3, 1e-3, 1e-6, 1e-6, 1e-6];
    for (let k = 0; k < 6; k++) {
      const step = [0, 0, 0, 0, 0, 0];
      step[k] = steps[k]!;
      const up = cost(step);
      step[k] = -steps[k]!;
      const down = cost(step);
      expect(up).toBeGreaterThan(least);
      expect(down).toBeGreaterThan(least);
      // Stationary: the slope is far below the curvature's share.
      expect(Math.abs(up - down)).toBeLessThan(1e-3 * (up + down - 2 * least));
    }
  });

  it('is the same with the roles swapped', () => {
    const there = adjustOrientation(x, y, { sourceCovariances: cx, targetCovariances: cy });
    const back = adjustOrientation(y, x, { sourceCovariances: cy, targetCovariances: cx });
    expectNear(there.weightedSumSquares, back.weightedSumSquares, 1e-9);
    for (const p of x) {
      const q = transformPoint(back.targetFromSource, transformPoint(there.targetFromSource, p));
      for (let k = 0; k < 3; k++) expectNear(q[k] as number, p[k] as number, 1e-8);
    }
  });

  it('tests the right pair when one is off, in its own metric', () => {
    const spoiled = y.map((p, i): Vec3 => (i === 4 ? [p[0] + 2, p[1], p[2]] : p));
    const clean = adjustOrientation(x, y, { sourceCovariances: cx, targetCovariances: cy });
    const fit = adjustOrientation(x, spoiled, { sourceCovariances: cx, targetCovariances: cy });
    const largest = fit.pointTests.indexOf(Math.max(...fit.pointTests));
    expect(largest).toBe(4);
    expect(Math.max(...clean.pointTests)).toBeLessThan(16.2662);
    // Leaving the pair out lowers the sum of squares by exactly its test value (linear theory; here to second order).
    const without = adjustOrientation(
      x.filter((_, i) => i !== 4),
      spoiled.filter((_, i) => i !== 4),
      {
        sourceCovariances: cx.filter((_, i) => i !== 4),
        targetCovariances: cy.filter((_, i) => i !== 4),
      },
    );
    const drop = fit.weightedSumSquares - without.weightedSumSquares;
    expectNear(drop / (fit.pointTests[4] as number), 1, 0.01);
  });

  it('says degenerate for collinear points and throws without covariances', () => {
    const line: Vec3[] = [
      [0, 0, 0],
      [1, 1, 1],
      [3, 3, 3],
    ];
    const c = line.map(() => isotropicCovariance(1));
    const fit = adjustOrientation(line, line, { targetCovariances: c });
    expect(fit.status).toBe('degenerate');
    expect(fit.covariance).toBeNull();
    expect(() => adjustOrientation(line, line)).toThrow(RangeError);
  });
});
