import {
  type AdjustableObservation,
  adjustNetwork,
  makeRunContext,
  pointUncertainty,
  type Vec3,
} from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';

/** Standard deviations (x, y, z) and root of their sum of squares at points, of a frame tied by noisy targets to exact places. */
async function errorsAt(
  targets: readonly { readonly at: Vec3; readonly sigma: Vec3 }[],
  points: readonly Vec3[],
): Promise<{ deviations: number[]; rms: number }[]> {
  const observations = targets.flatMap(({ at, sigma }, i): AdjustableObservation[] => [
    { kind: 'known-point', tie: 'reference', point: `T${i}`, position: at, information: 'fixed' },
    {
      kind: 'target',
      tie: 'targets',
      frame: 'scan',
      target: `T${i}`,
      position: at,
      covariance: [sigma[0] ** 2, 0, 0, 0, sigma[1] ** 2, 0, 0, 0, sigma[2] ** 2],
    },
  ]);
  const result = await adjustNetwork(
    observations,
    { datum: { kind: 'priors' }, enlarge: 'never', largestUncertaintyShare: 100 },
    makeRunContext(),
  );
  expect(result.redundancy).toBe(3 * targets.length - 6);
  return points.map((p) => {
    const { covariance } = pointUncertainty(result.jointCovariance!, 'scan', p)!;
    const deviations = [0, 4, 8].map((k) => Math.sqrt(covariance[k]!));
    return { deviations, rms: Math.hypot(...deviations) };
  });
}

const even = (points: readonly Vec3[], rms: number): { at: Vec3; sigma: Vec3 }[] => {
  const s = rms / Math.sqrt(3);
  return points.map((at) => ({ at, sigma: [s, s, s] }));
};

describe('error at a point from targets elsewhere', () => {
  it('Fitzpatrick, West & Maurer 1998, eq. 46: worked numbers', async () => {
    const skew: Vec3[] = [
      [1, 1, 0],
      [-0.5, 0.5, 0],
      [-1, -1, 0],
      [0.5, -0.5, 0],
    ];
    const square: Vec3[] = [
      [1, 1, 0],
      [1, -1, 0],
      [-1, -1, 0],
      [-1, 1, 0],
    ];
    const points: Vec3[] = [
      [0, 0, 0],
      [2, 0, 0],
      [2, 1, 0],
      [0, 0, 2],
      [1, 1, 0],
    ];
    for (const [targets, expected] of [
      [skew, [0.25, 1.35, 1.125, 1.9166667, 0.55]],
      [square, [0.25, 0.75, 0.875, 0.9166667, 0.5]],
    ] as const) {
      const found = await errorsAt(even(targets, 1), points);
      found.forEach(({ rms }, i) => {
        expect(rms * rms).toBeCloseTo(expected[i]!, 6);
      });
    }
  });

  it('four targets at the corners of a plate, seen from far along it', async () => {
    const corners: Vec3[] = [
      [500, 250, 0],
      [500, -250, 0],
      [-500, -250, 0],
      [-500, 250, 0],
    ];
    const found = await errorsAt(even(corners, 0.05), [
      [0, 0, 0],
      [500, 250, 0],
      [2000, 0, 0],
      [4000, 0, 0],
      [0, 0, 1000],
    ]);
    [0.025, 0.035355, 0.081394, 0.156924, 0.069222].forEach((rms, i) => {
      expect(Math.abs(found[i]!.rms - rms)).toBeLessThan(6e-7);
    });
    [0.01443, 0.05362, 0.05951].forEach((sd, k) => {
      expect(Math.abs(found[2]!.deviations[k]! - sd)).toBeLessThan(6e-6);
    });
    // One target poor across the plate (Danilchenko & Fitzpatrick 2011, weighted).
    const uneven = corners.map((at, i) => ({ at, sigma: [0.02, 0.02, i === 3 ? 0.2 : 0.02] as Vec3 }));
    const [far] = await errorsAt(uneven, [[2000, 0, 0]]);
    [0.01, 0.03715, 0.05065].forEach((sd, k) => {
      expect(Math.abs(far!.deviations[k]! - sd)).toBeLessThan(6e-6);
    });
  });
});
