import {
  adjustNetwork,
  compose,
  invert,
  makeRunContext,
  type NetworkAdjustment,
  type NetworkObservation,
  type Pose,
  perturb,
  quaternionOfVector,
  rotate,
  transformPoint,
  type Vec3,
  vectorOfQuaternion,
} from '@lapjoint/engine';
import { CholeskyDecomposition, inverse, Matrix, solve } from 'ml-matrix';
import { describe, expect, it } from 'vitest';
import { makeMixedScene } from './network-scene.ts';

/** A whitened residual vector of each observation, written down from the definitions alone. */
function whitened(
  o: NetworkObservation,
  poses: ReadonlyMap<string, Pose>,
  targets: ReadonlyMap<string, readonly number[]>,
): number[] {
  if (o.kind === 'target') {
    const seen = transformPoint(invert(poses.get(o.frame) as Pose), targets.get(o.target) as unknown as Vec3);
    const v = [0, 1, 2].map((k) => (o.position[k] as number) - (seen[k] as number));
    const c = new Matrix([o.covariance.slice(0, 3), o.covariance.slice(3, 6), o.covariance.slice(6, 9)]);
    return solve(new CholeskyDecomposition(c).lowerTriangularMatrix, Matrix.columnVector(v)).to1DArray();
  }
  if (o.kind === 'pair') {
    const a = transformPoint(poses.get(o.frameA) as Pose, o.a);
    const b = transformPoint(poses.get(o.frameB) as Pose, o.b);
    return [0, 1, 2].map((k) => ((a[k] as number) - (b[k] as number)) / o.sigma);
  }
  if (o.kind === 'overlap') {
    const rel = compose(invert(poses.get(o.frameB) as Pose), poses.get(o.frameA) as Pose);
    const m = motionBetween(o.bFromA0, rel, o.reference);
    const h = new Matrix(Array.from({ length: 6 }, (_, i) => o.information.slice(6 * i, 6 * i + 6)));
    const best = inverse(h)
      .mmul(Matrix.columnVector([...o.gradient]))
      .mul(-1);
    const least = o.sumSquares - best.transpose().mmul(h).mmul(best).get(0, 0);
    const variance = Math.max(o.sigma ** 2, least / o.count);
    const l = new CholeskyDecomposition(h.mul(o.effectiveCount / o.count / variance)).lowerTriangularMatrix;
    return l.transpose().mmul(Matrix.columnVector(m).sub(best)).to1DArray();
  }
  const m = motionBetween(o.jobFromFrame0, poses.get(o.frame) as Pose, o.reference);
  const w = new Matrix(Array.from({ length: 6 }, (_, i) => o.information.slice(6 * i, 6 * i + 6)));
  return new CholeskyDecomposition(w).lowerTriangularMatrix.transpose().mmul(Matrix.columnVector(m)).to1DArray();
}

/** m such that moved = perturb(start, m, c). */
function motionBetween(start: Pose, moved: Pose, c: Vec3): number[] {
  const off = compose(moved, invert(start));
  const at = transformPoint(off, c);
  return [at[0] - c[0], at[1] - c[1], at[2] - c[2], ...vectorOfQuaternion(off.rotation)];
}

/** Dense normal equations from numeric derivatives at the adjusted values. */
function bruteForce(observations: readonly NetworkObservation[], result: NetworkAdjustment, fixed: string) {
  const frames = result.frames.filter((f) => f.frame !== fixed);
  const names = result.targets.map((t) => t.name);
  const size = 6 * frames.length + 3 * names.length;
  const evaluate = (x: Float64Array): number[] => {
    const poses = new Map(result.frames.map((f) => [f.frame, f.jobFromFrame as Pose]));
    frames.forEach((f, i) => {
      poses.set(f.frame, perturb(f.jobFromFrame as Pose, x.subarray(6 * i, 6 * i + 6), f.covarianceReference as Vec3));
    });
    const base = 6 * frames.length;
    const targets = new Map(result.targets.map((t, i) => [t.name, t.position.map((p, k) => p + x[base + 3 * i + k]!)]));
    return observations.flatMap((o) => whitened(o, poses, targets));
  };
  const zero = evaluate(new Float64Array(size));
  const jacobian = Matrix.zeros(zero.length, size);
  for (let c = 0; c < size; c++) {
    const isTurn = c < 6 * frames.length && c % 6 >= 3;
    const step = isTurn ? 1e-6 : 1e-3;
    const x = new Float64Array(size);
    x[c] = step;
    const up = evaluate(x);
    x[c] = -step;
    const down = evaluate(x);
    for (let r = 0; r < zero.length; r++) jacobian.set(r, c, (up[r]! - down[r]!) / (2 * step));
  }
  const normal = jacobian.transpose().mmul(jacobian);
  const slope = jacobian.transpose().mmul(Matrix.columnVector(zero));
  const covariance = inverse(normal);
  const step = covariance.mmul(slope).mul(-1).to1DArray();
  const hat = jacobian.mmul(covariance).mmul(jacobian.transpose());
  return { frames, names, zero, covariance, step, hat, size };
}

describe('adjustment against a dense solution with numeric derivatives', () => {
  for (const [seed, frameCount] of [
    [1, 3],
    [2, 4],
    [3, 6],
  ] as const) {
    it(`mixed ties, ${frameCount} frames: stationary, same covariances, same redundancies`, async () => {
      const scene = makeMixedScene(seed, frameCount);
      const last = scene.frames.at(-1) as string;
      const prior: NetworkObservation = {
        kind: 'prior',
        tie: 'gps',
        frame: last,
        jobFromFrame0: perturb(scene.jobFromFrame.get(last) as Pose, [0.3, -0.2, 0.1, 1e-6, 2e-5, -1e-6], [10, 20, 30]),
        reference: [10, 20, 30],
        information: [
          16, 1, 0, 0, 0, 0, 1, 9, 0, 0, 0, 0, 0, 0, 4, 0, 0, 0, 0, 0, 0, 1e7, 0, 0, 0, 0, 0, 0, 2e7, 0, 0, 0, 0, 0, 0,
          1e7,
        ],
      };
      const observations = [...scene.observations, prior];
      const result = await adjustNetwork(observations, { enlarge: 'never' }, makeRunContext());
      expect(result.converged).toBe(true);
      const brute = bruteForce(observations, result, scene.frames[0] as string);
      const vPv = brute.zero.reduce((sum, v) => sum + v * v, 0);
      expect(Math.abs(result.weightedSumSquares / vPv - 1)).toBeLessThan(1e-9);
      expect(result.redundancy).toBe(brute.zero.length - brute.size);
      // One more dense step would move nothing: in units of its standard deviation.
      brute.step.forEach((s, i) => {
        expect(Math.abs(s) / Math.sqrt(brute.covariance.get(i, i))).toBeLessThan(1e-5);
      });
      const scale = (i: number): number => Math.sqrt(brute.covariance.get(i, i));
      brute.frames.forEach((f, i) => {
        brute.frames.forEach((g, j) => {
          const own = result.crossCovariance(f.frame, g.frame) as Float64Array;
          for (let r = 0; r < 6; r++) {
            for (let c = 0; c < 6; c++) {
              const expected = brute.covariance.get(6 * i + r, 6 * j + c);
              expect(Math.abs(own[6 * r + c]! - expected)).toBeLessThan(2e-5 * scale(6 * i + r) * scale(6 * j + c));
              if (i === j) expect(f.covariance?.[6 * r + c]).toBeCloseTo(own[6 * r + c]!, 15);
            }
          }
        });
      });
      const base = 6 * brute.frames.length;
      result.targets.forEach((t, i) => {
        for (let r = 0; r < 3; r++) {
          for (let c = 0; c < 3; c++) {
            const expected = brute.covariance.get(base + 3 * i + r, base + 3 * i + c);
            expect(Math.abs(t.covariance[3 * r + c]! - expected)).toBeLessThan(
              2e-5 * scale(base + 3 * i + r) * scale(base + 3 * i + c),
            );
          }
        }
      });
      // Redundancy of each tie: rows of I - hat matrix.
      const expectedShare = new Map<string, number>();
      let row = 0;
      for (const o of observations) {
        const length = o.kind === 'overlap' || o.kind === 'prior' ? 6 : 3;
        for (let k = 0; k < length; k++, row++) {
          expectedShare.set(o.tie, (expectedShare.get(o.tie) ?? 0) + 1 - brute.hat.get(row, row));
        }
      }
      for (const tie of result.ties) expect(Math.abs(tie.redundancy - expectedShare.get(tie.id)!)).toBeLessThan(1e-5);
      const total = result.ties.reduce((sum, t) => sum + t.redundancy, 0) + expectedShare.get('gps')!;
      expect(Math.abs(total - result.redundancy)).toBeLessThan(1e-5);
    });
  }

  it('finds the same minimum from starts that are degrees and decimetres off', async () => {
    const scene = makeMixedScene(5, 5);
    const base = await adjustNetwork(scene.observations, {}, makeRunContext());
    const start = new Map(
      scene.frames.map((f, i): [string, Pose] => [
        f,
        i === 0
          ? (scene.jobFromFrame.get(f) as Pose)
          : compose(
              { rotation: quaternionOfVector([0.1, -0.15, 0.2]), translation: [150, -100, 80] },
              scene.jobFromFrame.get(f) as Pose,
            ),
      ]),
    );
    const other = await adjustNetwork(scene.observations, { start }, makeRunContext());
    expect(other.converged).toBe(true);
    expect(Math.abs(other.weightedSumSquares - base.weightedSumSquares)).toBeLessThan(1e-6);
    base.frames.forEach((f, i) => {
      const g = other.frames[i]!;
      const off = rotate(f.jobFromFrame!.rotation, [1, 2, 3]).map(
        (v, k) => v - rotate(g.jobFromFrame!.rotation, [1, 2, 3])[k]!,
      );
      expect(Math.hypot(...off)).toBeLessThan(1e-9);
    });
  });
});
