import {
  adjustNetwork,
  chiSquareQuantile,
  compose,
  distanceUncertainty,
  invert,
  jointPointCovariance,
  makeRandom,
  makeRunContext,
  type NetworkAdjustment,
  type Pose,
  perturb,
  pointUncertaintiesOf,
  pointUncertainty,
  type ScaleTerm,
  transformPoint,
  type Vec3,
  vectorOfQuaternion,
} from '@lapjoint/engine';
import { EigenvalueDecomposition, inverse, Matrix, solve } from 'ml-matrix';
import { describe, expect, it } from 'vitest';
import { makePatchScene, type PatchScene, patchResiduals } from './patch-scene.ts';

const matrixOf = (r: NetworkAdjustment): Matrix => {
  const joint = r.jointCovariance!;
  const n = 6 * joint.frames.length + joint.terms.length;
  return new Matrix(Array.from({ length: n }, (_, i) => [...joint.matrix.subarray(n * i, n * (i + 1))]));
};

/** Dense covariance of all frames but the first (and the scale) from the patches' own residuals, by numeric derivatives. */
function denseCovariance(scene: PatchScene, result: NetworkAdjustment, term: ScaleTerm | null) {
  const frames = result.frames.slice(1);
  const centreOf = (f: string): Vec3 => scene.frames.find((x) => x.frame === f)!.centre!;
  const value = term ? result.scales[0]!.value : 0;
  const size = 6 * frames.length + (term ? 1 : 0);
  const evaluate = (x: Float64Array): number[] => {
    const poses = new Map(result.frames.map((f) => [f.frame, f.jobFromFrame as Pose]));
    frames.forEach((f, i) => {
      poses.set(f.frame, perturb(f.jobFromFrame as Pose, x.subarray(6 * i, 6 * i + 6), f.covarianceReference as Vec3));
    });
    const s = term ? value + x[size - 1]! : 0;
    const scaleOf = (f: string): number => s * (term?.coefficients.get(f) ?? 0);
    return scene.overlaps.flatMap((o) => patchResiduals(o, poses, scaleOf, centreOf));
  };
  const count = scene.overlaps.reduce((sum, o) => sum + o.pointsA.length, 0);
  const jacobian = Matrix.zeros(count, size);
  for (let c = 0; c < size; c++) {
    const step = c === 6 * frames.length ? 1e-5 : c % 6 >= 3 ? 1e-6 : 1e-3;
    const x = new Float64Array(size);
    x[c] = step;
    const up = evaluate(x);
    x[c] = -step;
    const down = evaluate(x);
    for (let r = 0; r < count; r++) jacobian.set(r, c, (up[r]! - down[r]!) / (2 * step));
  }
  // Weight: each overlap by itself. True covariance: with what scans bring into two overlaps.
  const weight = Matrix.zeros(count, count);
  const noise = Matrix.zeros(count, count);
  let at = 0;
  const starts = scene.overlaps.map((o) => {
    const start = at;
    weight.setSubMatrix(inverse(o.covariance), start, start);
    noise.setSubMatrix(o.covariance, start, start);
    at += o.pointsA.length;
    return start;
  });
  scene.overlaps.forEach((o, i) => {
    scene.overlaps.forEach((p, j) => {
      if (i === j || o.frameB !== p.frameA) return;
      const cross = o.ofB.mmul(p.ofA.transpose());
      noise.setSubMatrix(cross, starts[i]!, starts[j]!);
      noise.setSubMatrix(cross.transpose(), starts[j]!, starts[i]!);
    });
  });
  return { jacobian, weight, noise, zero: evaluate(new Float64Array(size)), size };
}

/** Largest difference of two covariances in units of the standard deviations. */
function difference(a: Matrix, b: Matrix): number {
  let largest = 0;
  for (let i = 0; i < a.rows; i++) {
    for (let j = 0; j < a.columns; j++) {
      const unit = Math.sqrt(b.get(i, i) * b.get(j, j));
      largest = Math.max(largest, Math.abs(a.get(i, j) - b.get(i, j)) / unit);
    }
  }
  return largest;
}

const scaleTerm = (isEstimated: boolean, sigma = 2e-4): ScaleTerm => ({
  name: 'instrument',
  sigma,
  coefficients: new Map([
    ['f0', 1],
    ['f2', 1],
    ['f3', 0.5],
  ]),
  isEstimated,
});

describe('joint covariance against a dense solution of the patches themselves', () => {
  it('weighed overlaps under large poses: the inverse of J^T C^-1 J by numeric derivatives (field report 28)', async () => {
    const scene = makePatchScene(1);
    const result = await adjustNetwork(
      scene.observations,
      { frames: scene.frames, enlarge: 'never' },
      makeRunContext(),
    );
    expect(result.converged).toBe(true);
    const { jacobian, weight, zero, size } = denseCovariance(scene, result, null);
    const expected = inverse(jacobian.transpose().mmul(weight).mmul(jacobian));
    const own = matrixOf(result);
    expect(difference(own.subMatrix(6, 5 + size, 6, 5 + size), expected)).toBeLessThan(1e-3);
    // The fixed frame has zeros; each frame's own covariance is its block.
    for (let i = 0; i < 6; i++) for (let j = 0; j < own.columns; j++) expect(own.get(i, j)).toBe(0);
    result.frames.forEach((f, n) => {
      f.covariance!.forEach((c, k) => {
        expect(c).toBe(own.get(6 * n + Math.floor(k / 6), 6 * n + (k % 6)));
      });
    });
    // The same least-squares solution: one dense step would move nothing.
    const step = expected.mmul(jacobian.transpose()).mmul(weight).mmul(Matrix.columnVector(zero));
    step.to1DArray().forEach((s, i) => {
      expect(Math.abs(s) / Math.sqrt(expected.get(i, i))).toBeLessThan(1e-3);
    });
  });

  it('correlated overlaps: N^-1 J^T W C W J N^-1 with the full C', async () => {
    const scene = makePatchScene(2, { shared: 0.06 });
    const run = (correlations: PatchScene['correlations']): Promise<NetworkAdjustment> =>
      adjustNetwork(scene.observations, { frames: scene.frames, enlarge: 'never', correlations }, makeRunContext());
    const result = await run(scene.correlations);
    const { jacobian, weight, noise, size } = denseCovariance(scene, result, null);
    const n = inverse(jacobian.transpose().mmul(weight).mmul(jacobian));
    const half = n.mmul(jacobian.transpose()).mmul(weight);
    const expected = half.mmul(noise).mmul(half.transpose());
    const own = matrixOf(result).subMatrix(6, 5 + size, 6, 5 + size);
    expect(difference(own, expected)).toBeLessThan(1e-3);
    // It matters, and the order of the pairs and of their names does not.
    const plain = matrixOf(await run([])).subMatrix(6, 5 + size, 6, 5 + size);
    expect(difference(plain, expected)).toBeGreaterThan(0.05);
    const turned = scene.correlations.map((c) => ({
      tieA: c.tieB,
      tieB: c.tieA,
      gradientCovariance: Array.from({ length: 36 }, (_, k) => c.gradientCovariance[(k % 6) * 6 + Math.floor(k / 6)]!),
    }));
    expect(difference(matrixOf(await run(turned.reverse())).subMatrix(6, 5 + size, 6, 5 + size), own)).toBeLessThan(
      1e-9,
    );
  });

  it('an estimated scale is one more unknown with a prior', async () => {
    const scene = makePatchScene(3, { scaleOf: (i) => [3e-4, 0, 3e-4, 1.5e-4][i]! });
    const term = scaleTerm(true);
    const result = await adjustNetwork(
      scene.observations,
      { frames: scene.frames, enlarge: 'never', scaleTerms: [term] },
      makeRunContext(),
    );
    const { jacobian, weight, zero, size } = denseCovariance(scene, result, term);
    const normal = jacobian.transpose().mmul(weight).mmul(jacobian);
    normal.set(size - 1, size - 1, normal.get(size - 1, size - 1) + 1 / term.sigma ** 2);
    const expected = inverse(normal);
    const own = matrixOf(result).subMatrix(6, 5 + size, 6, 5 + size);
    expect(difference(own, expected)).toBeLessThan(2e-3);
    const slope = jacobian.transpose().mmul(weight).mmul(Matrix.columnVector(zero));
    slope.set(size - 1, 0, slope.get(size - 1, 0) + result.scales[0]!.value / term.sigma ** 2);
    expected
      .mmul(slope)
      .to1DArray()
      .forEach((s, i) => {
        expect(Math.abs(s) / Math.sqrt(expected.get(i, i))).toBeLessThan(5e-3);
      });
    expect(Math.abs(result.scales[0]!.value - 3e-4)).toBeLessThan(3.5 * result.scales[0]!.sigma);
    expect(result.scales[0]!.sigma).toBeLessThan(term.sigma);
    expect(result.scales[0]!.sigma / Math.sqrt(expected.get(size - 1, size - 1))).toBeCloseTo(1, 3);
    // Observed: six numbers and the stretch of each overlap whose frames differ (all four), and the prior.
    expect(result.redundancy).toBe(4 * 7 + 1 - 19);
  });

  it('a considered scale: Cov(x) += S sigma^2 S^T, Cov(x, s) = S sigma^2', async () => {
    const scene = makePatchScene(4);
    const term = scaleTerm(false);
    const run = (scaleTerms: ScaleTerm[]): Promise<NetworkAdjustment> =>
      adjustNetwork(scene.observations, { frames: scene.frames, enlarge: 'never', scaleTerms }, makeRunContext());
    const result = await run([term]);
    const plain = await run([]);
    expect(result.frames.map((f) => f.jobFromFrame)).toEqual(plain.frames.map((f) => f.jobFromFrame));
    expect(result.redundancy).toBe(plain.redundancy);
    const { jacobian, weight, size } = denseCovariance(scene, result, term);
    const a = jacobian.subMatrix(0, jacobian.rows - 1, 0, size - 2);
    const as = jacobian.subMatrix(0, jacobian.rows - 1, size - 1, size - 1);
    const n = inverse(a.transpose().mmul(weight).mmul(a));
    const s = n.mmul(a.transpose()).mmul(weight).mmul(as).mul(-1);
    const variance = term.sigma ** 2;
    const expected = Matrix.zeros(size, size);
    expected.setSubMatrix(n.clone().add(s.mmul(s.transpose()).mul(variance)), 0, 0);
    expected.setSubMatrix(s.clone().mul(variance), 0, size - 1);
    expected.setSubMatrix(s.transpose().mul(variance), size - 1, 0);
    expected.set(size - 1, size - 1, variance);
    expect(difference(matrixOf(result).subMatrix(6, 5 + size, 6, 5 + size), expected)).toBeLessThan(2e-3);
    // Not small: the scale doubles some uncertainty at least.
    const ratio = Math.max(
      ...result.frames[1]!.covariance!.map((c, k) => (k % 7 === 0 ? c / plain.frames[1]!.covariance![k]! : 0)),
    );
    expect(ratio).toBeGreaterThan(4);
  });
});

describe('joint covariance against the scatter of repeated networks', () => {
  for (const [name, isEstimated] of [
    ['considered', false],
    ['estimated', true],
  ] as const) {
    it(`with a ${name} scale, correlated overlaps and targets: normalised deviations follow chi-square`, async () => {
      const trials = 80;
      const random = makeRandom(7, 'scales');
      const sigma = 1.5e-4;
      let sum = 0;
      let inside = 0;
      let size = 0;
      let statistic = 0;
      let alarms = 0;
      for (let trial = 0; trial < trials; trial++) {
        const value = sigma * random.normal();
        const scene = makePatchScene(100 + trial, {
          scaleOf: (i) => value * [1, 0, 1, 0.5][i]!,
          targets: 6,
          shared: 0.04,
        });
        const result = await adjustNetwork(
          scene.observations,
          {
            frames: scene.frames,
            enlarge: 'never',
            correlations: scene.correlations,
            scaleTerms: [scaleTerm(isEstimated, sigma)],
          },
          makeRunContext(),
        );
        const deviation = result.frames.slice(1).flatMap((f) => {
          const off = compose(scene.truth.get(f.frame)!, invert(f.jobFromFrame!));
          const c = f.covarianceReference!;
          const at = transformPoint(off, c);
          return [at[0] - c[0], at[1] - c[1], at[2] - c[2], ...vectorOfQuaternion(off.rotation)];
        });
        deviation.push(value - result.scales[0]!.value);
        const full = matrixOf(result);
        const own = full.subMatrix(6, full.rows - 1, 6, full.rows - 1);
        const unit = own.diagonal().map(Math.sqrt);
        const scaled = new Matrix(own.to2DArray().map((row, i) => row.map((c, j) => c / (unit[i]! * unit[j]!))));
        const e = Matrix.columnVector(deviation.map((d, i) => d / unit[i]!));
        const square = e.transpose().mmul(solve(scaled, e)).get(0, 0);
        size = deviation.length;
        sum += square;
        if (square < chiSquareQuantile(0.05, size)) inside++;
        statistic += result.globalTest!.statistic / result.globalTest!.degreesOfFreedom;
        if (result.globalTest!.probability < 0.05) alarms++;
      }
      expect(Math.abs(sum / trials / size - 1)).toBeLessThan(4 * Math.sqrt(2 / (size * trials)));
      expect(Math.abs(inside / trials - 0.95)).toBeLessThan(4 * Math.sqrt((0.95 * 0.05) / trials));
      // The global test keeps its level although scales and correlations change the distribution of vPv.
      expect(Math.abs(statistic / trials - 1)).toBeLessThan(0.12);
      expect(alarms / trials).toBeLessThan(0.05 + 3 * Math.sqrt((0.95 * 0.05) / trials));
    });
  }
});

describe('points and distances from the joint covariance', () => {
  it('agree with numeric propagation; poses cancel within a frame and scale stays; many points as one by one', async () => {
    const scene = makePatchScene(5, { targets: 4 });
    const term = scaleTerm(false, 1e-4);
    const result = await adjustNetwork(
      scene.observations,
      { frames: scene.frames, enlarge: 'never', correlations: scene.correlations, scaleTerms: [term] },
      makeRunContext(),
    );
    const joint = result.jointCovariance!;
    const full = matrixOf(result);
    const [p, q]: [Vec3, Vec3] = [
      [300, -200, 150],
      [-900, 700, 40],
    ];
    // Places as functions of the state: perturbed pose, then the scale about the reference.
    const placeOf = (frame: string, point: Vec3, x: readonly number[]): Vec3 => {
      const i = joint.frames.findIndex((f) => f.frame === frame);
      const { reference } = joint.frames[i]!;
      const moved = transformPoint(
        perturb({ rotation: [1, 0, 0, 0], translation: [0, 0, 0] }, x.slice(6 * i, 6 * i + 6), reference),
        point,
      );
      const s = joint.terms[0]!.coefficients[i]! * x[full.rows - 1]!;
      return moved.map((v, k) => v - s * (point[k]! - reference[k]!)) as unknown as Vec3;
    };
    const numeric = (f: (x: readonly number[]) => number[]): Matrix => {
      const columns = Array.from({ length: full.rows }, (_, c) => {
        const h = c === full.rows - 1 ? 1e-4 : c % 6 >= 3 ? 1e-5 : 1e-2;
        const at = (d: number): number[] => f(Array.from({ length: full.rows }, (__, k) => (k === c ? d : 0)));
        const [up, down] = [at(h), at(-h)];
        return up.map((v, k) => (v - down[k]!) / (2 * h));
      });
      const j = new Matrix(columns).transpose();
      return j.mmul(full).mmul(j.transpose());
    };
    for (const frame of ['f0', 'f2', 'f3']) {
      const own = pointUncertainty(joint, frame, p)!;
      const expected = numeric((x) => [...placeOf(frame, p, x)]);
      own.covariance.forEach((c, k) => {
        expect(Math.abs(c - expected.get(Math.floor(k / 3), k % 3))).toBeLessThan(1e-6 * expected.trace());
      });
      const axes = new EigenvalueDecomposition(expected, { assumeSymmetric: true }).realEigenvalues;
      expect(own.largestSemiAxis / (2 * Math.sqrt(Math.max(...axes)))).toBeCloseTo(1, 6);
      const many = pointUncertaintiesOf(joint, frame, Float32Array.from([...p, ...q]), [0, 0, 0])!;
      expect(many[0]! / own.largestSemiAxis).toBeCloseTo(1, 5);
      expect(many[1]! / pointUncertainty(joint, frame, q)!.largestSemiAxis).toBeCloseTo(1, 5);
      // A point's own noise adds.
      const noisy = pointUncertainty(joint, frame, p, { own: [1, 0, 0, 0, 2, 0, 0, 0, 3] })!;
      expect(noisy.covariance[4] - own.covariance[4]).toBeCloseTo(2, 9);
    }
    for (const [f, g] of [
      ['f1', 'f2'],
      ['f2', 'f3'],
    ] as const) {
      const own = distanceUncertainty(joint, { frame: f, point: p }, { frame: g, point: q })!;
      const variance = numeric((x) => {
        const [a, b] = [placeOf(f, p, x), placeOf(g, q, x)];
        return [Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2])];
      }).get(0, 0);
      expect(own.standard / Math.sqrt(variance)).toBeCloseTo(1, 5);
      expect(own.expanded).toBe(2 * own.standard);
      // Keeping correlations matters.
      const apart = [pointUncertainty(joint, f, p)!, pointUncertainty(joint, g, q)!];
      const both = jointPointCovariance(joint, [
        { frame: f, point: p },
        { frame: g, point: q },
      ])!;
      expect(both.length).toBe(36);
      apart.forEach((u, n) => {
        expect(both[7 * (3 * n)]).toBeCloseTo(u.covariance[0], 9);
      });
    }
    // Within one frame only its scale is left: coefficient x sigma x distance.
    const inside = distanceUncertainty(joint, { frame: 'f3', point: p }, { frame: 'f3', point: q })!;
    expect(inside.standard / (0.5 * 1e-4 * inside.distance)).toBeCloseTo(1, 6);
    expect(distanceUncertainty(joint, { frame: 'f1', point: p }, { frame: 'f1', point: q })!.standard).toBeLessThan(
      1e-6,
    );
    expect(pointUncertainty(joint, 'nowhere', p)).toBeNull();
    expect(pointUncertaintiesOf(joint, 'nowhere', new Float32Array(3), [0, 0, 0])).toBeNull();
  });
});
