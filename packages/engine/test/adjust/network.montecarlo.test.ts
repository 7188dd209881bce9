import {
  adjustNetwork,
  chiSquareQuantile,
  compose,
  invert,
  makeRunContext,
  type Pose,
  transformPoint,
  vectorOfQuaternion,
} from '@lapjoint/engine';
import { Matrix, solve } from 'ml-matrix';
import { describe, expect, it } from 'vitest';
import { makeMixedScene } from './network-scene.ts';

// Targets and picked pairs with known independent noise, overlaps with independent distances: then the stated covariance has
// to be the scatter. Correlated noise of real scans is another matter (docs/uncertainty.md).
describe('covariance against the scatter of repeated networks', () => {
  it('normalised deviations of poses and vPv follow chi-square', async () => {
    const trials = 300;
    let sumPose = 0;
    let inside = 0;
    let poses = 0;
    let sumSquares = 0;
    let redundancy = 0;
    for (let seed = 1; seed <= trials; seed++) {
      const scene = makeMixedScene(1000 + seed, 4);
      const result = await adjustNetwork(scene.observations, { enlarge: 'never' }, makeRunContext());
      expect(result.converged).toBe(true);
      sumSquares += result.weightedSumSquares;
      redundancy += result.redundancy;
      for (const f of result.frames.slice(1)) {
        const truth = scene.jobFromFrame.get(f.frame) as Pose;
        const off = compose(truth, invert(f.jobFromFrame as Pose));
        const c = f.covarianceReference!;
        const at = transformPoint(off, c);
        const e = Matrix.columnVector([at[0] - c[0], at[1] - c[1], at[2] - c[2], ...vectorOfQuaternion(off.rotation)]);
        // Rotations as lengths, so that the small system is well conditioned.
        const unit = [1, 1, 1, 500, 500, 500];
        const m = new Matrix(
          Array.from({ length: 6 }, (_, i) =>
            Array.from({ length: 6 }, (_, j) => f.covariance![6 * i + j]! * unit[i]! * unit[j]!),
          ),
        );
        const scaled = Matrix.columnVector(e.to1DArray().map((v, i) => v * unit[i]!));
        const square = scaled.transpose().mmul(solve(m, scaled)).get(0, 0);
        sumPose += square;
        if (square < chiSquareQuantile(0.05, 6)) inside++;
        poses++;
      }
    }
    // vPv: chi-square with the summed redundancy; band of four standard deviations.
    expect(Math.abs(sumSquares / redundancy - 1)).toBeLessThan(4 * Math.sqrt(2 / redundancy));
    // Poses of one network are correlated with each other: count networks, not poses, for the band.
    expect(Math.abs(sumPose / poses / 6 - 1)).toBeLessThan(4 * Math.sqrt(2 / (6 * trials)));
    expect(Math.abs(inside / poses - 0.95)).toBeLessThan(4 * Math.sqrt((0.95 * 0.05) / trials));
  });
});
