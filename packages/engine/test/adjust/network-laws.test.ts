import {
  adjustNetwork,
  compose,
  invert,
  isotropicCovariance,
  makeRandom,
  makeRunContext,
  type NetworkAdjustment,
  type NetworkObservation,
  type Pose,
  perturb,
  pointCovariance,
  pointUncertainties,
  quaternionOfVector,
  rotationAngle,
  transformPoint,
  type Vec3,
} from '@lapjoint/engine';
import { EigenvalueDecomposition, Matrix, pseudoInverse } from 'ml-matrix';
import { describe, expect, it } from 'vitest';
import { makeMixedScene, makeOverlap, place } from './network-scene.ts';

const run = (observations: readonly NetworkObservation[], options = {}): Promise<NetworkAdjustment> =>
  adjustNetwork(observations, options, makeRunContext());

function expectSamePoses(a: NetworkAdjustment, b: NetworkAdjustment, tolerance: number): void {
  for (const f of a.frames) {
    const g = b.frames.find((x) => x.frame === f.frame)!;
    const p: Vec3 = [300, -200, 100];
    const [x, y] = [transformPoint(f.jobFromFrame!, p), transformPoint(g.jobFromFrame!, p)];
    expect(Math.hypot(x[0] - y[0], x[1] - y[1], x[2] - y[2])).toBeLessThan(tolerance);
  }
}

describe('laws of the adjustment', () => {
  it('the order of observations and of frames does not matter', async () => {
    const scene = makeMixedScene(1, 5);
    const random = makeRandom(2, 'shuffle');
    const a = await run(scene.observations);
    const shuffled = scene.observations.map((o) => ({ o, key: random.uniform() })).sort((x, y) => x.key - y.key);
    const b = await run(
      shuffled.map((s) => s.o),
      { datum: { kind: 'fixed-frame', frame: scene.frames[0]! } },
    );
    expectSamePoses(a, b, 1e-7);
    expect(Math.abs(a.weightedSumSquares / b.weightedSumSquares - 1)).toBeLessThan(1e-9);
  });

  it('swapping the roles in an overlap or a pair changes nothing to first order', async () => {
    const scene = makeMixedScene(3, 4);
    const swapped = scene.observations.map((o): NetworkObservation => {
      if (o.kind === 'pair') return { ...o, frameA: o.frameB, frameB: o.frameA, a: o.b, b: o.a };
      return o;
    });
    expectSamePoses(await run(scene.observations), await run(swapped), 1e-7);
  });

  it('millimetres or metres: the same poses, covariances and tests', async () => {
    const scene = makeMixedScene(4, 4);
    const f = 1e-3;
    const scaled = (v: Vec3): Vec3 => [v[0] * f, v[1] * f, v[2] * f];
    const scaledPose = (p: Pose): Pose => ({ rotation: p.rotation, translation: scaled(p.translation) });
    const metres = scene.observations.map((o): NetworkObservation => {
      if (o.kind === 'target')
        return { ...o, position: scaled(o.position), covariance: o.covariance.map((c) => c * f * f) };
      if (o.kind === 'pair') return { ...o, a: scaled(o.a), b: scaled(o.b), sigma: o.sigma * f };
      if (o.kind === 'overlap') {
        const unit = (k: number): number => (k < 3 ? 1 : f);
        return {
          ...o,
          bFromA0: scaledPose(o.bFromA0),
          reference: scaled(o.reference),
          information: o.information.map((h, k) => h * unit(Math.floor(k / 6)) * unit(k % 6)),
          gradient: o.gradient.map((g, k) => g * f * unit(k)),
          sumSquares: o.sumSquares * f * f,
          sigma: o.sigma * f,
          largest: o.largest * f,
        };
      }
      return o;
    });
    const a = await run(scene.observations);
    const b = await run(metres);
    expect(Math.abs(a.weightedSumSquares / b.weightedSumSquares - 1)).toBeLessThan(1e-9);
    a.frames.forEach((x, i) => {
      const y = b.frames[i]!;
      x.jobFromFrame!.translation.forEach((t, k) => {
        expect(Math.abs(t * f - y.jobFromFrame!.translation[k]!)).toBeLessThan(1e-9 * (1 + Math.abs(t * f)));
      });
      x.covariance!.forEach((c, k) => {
        const unit = (Math.floor(k / 6) < 3 ? f : 1) * (k % 6 < 3 ? f : 1);
        const size = Math.sqrt(x.covariance![7 * Math.floor(k / 6)]! * x.covariance![7 * (k % 6)]!) * unit;
        expect(Math.abs(c * unit - y.covariance![k]!)).toBeLessThanOrEqual(1e-8 * size);
      });
    });
  });

  it('frames whose origin lies 1e7 mm away give the same network', async () => {
    const scene = makeMixedScene(5, 4);
    const away: Vec3 = [1e7, -1e7, 1e7];
    // Every frame but the first has its coordinates moved: frame' = frame + away.
    const shift = (frame: string, p: Vec3): Vec3 =>
      frame === scene.frames[0] ? p : [p[0] + away[0], p[1] + away[1], p[2] + away[2]];
    const out = (frame: string): Pose => ({ rotation: [1, 0, 0, 0], translation: shift(frame, [0, 0, 0]) });
    const far = scene.observations.map((o): NetworkObservation => {
      if (o.kind === 'target') return { ...o, position: shift(o.frame, o.position) };
      if (o.kind === 'pair') return { ...o, a: shift(o.frameA, o.a), b: shift(o.frameB, o.b) };
      if (o.kind === 'overlap') {
        return {
          ...o,
          bFromA0: compose(compose(out(o.frameB), o.bFromA0), invert(out(o.frameA))),
          reference: shift(o.frameB, o.reference),
        };
      }
      return o;
    });
    const a = await run(scene.observations);
    const b = await run(far);
    // Coordinates near 1e7 carry 2e-9 mm, and poses of them a few times that.
    expect(Math.abs(a.weightedSumSquares / b.weightedSumSquares - 1)).toBeLessThan(1e-6);
    a.frames.forEach((x, i) => {
      const y = b.frames[i]!;
      expect(Math.hypot(...x.covarianceReference!.map((v, k) => v - y.covarianceReference![k]!))).toBeLessThan(2e-7);
      expect(
        rotationAngle(
          compose(
            { rotation: x.jobFromFrame!.rotation, translation: [0, 0, 0] },
            invert({ rotation: y.jobFromFrame!.rotation, translation: [0, 0, 0] }),
          ).rotation,
        ),
      ).toBeLessThan(1e-9);
      x.covariance!.forEach((c, k) => {
        const size = Math.sqrt(x.covariance![7 * Math.floor(k / 6)]! * x.covariance![7 * (k % 6)]!);
        expect(Math.abs(c - y.covariance![k]!)).toBeLessThanOrEqual(1e-7 * size);
      });
    });
  });

  it('covariances do not depend on the fixed frame: relative poses have the same uncertainty', async () => {
    const scene = makeMixedScene(6, 4);
    const [f0, f1, f2] = scene.frames as [string, string, string];
    const a = await run(scene.observations);
    const b = await run(scene.observations, { datum: { kind: 'fixed-frame', frame: f1 } });
    // Uncertainty of a point of frame 3 relative to frame 2: from the joint covariance, in both datums.
    const relative = (r: NetworkAdjustment): number => {
      const [p, q] = [r.frames.find((f) => f.frame === f1)!, r.frames.find((f) => f.frame === f2)!];
      const point = q.covarianceReference!;
      const jacobian = (reference: readonly number[], sign: number): Matrix => {
        const d = point.map((v, k) => v - reference[k]!);
        return new Matrix([
          [1, 0, 0, 0, d[2]!, -d[1]!],
          [0, 1, 0, -d[2]!, 0, d[0]!],
          [0, 0, 1, d[1]!, -d[0]!, 0],
        ]).mul(sign);
      };
      const block = (x: string, y: string): Matrix => {
        const c = r.crossCovariance(x, y)!;
        return new Matrix(Array.from({ length: 6 }, (_, i) => [...c.subarray(6 * i, 6 * i + 6)]));
      };
      const [jp, jq] = [jacobian(p.covarianceReference!, -1), jacobian(q.covarianceReference!, 1)];
      const sum = jp
        .mmul(block(f1, f1))
        .mmul(jp.transpose())
        .add(jq.mmul(block(f2, f2)).mmul(jq.transpose()))
        .add(jp.mmul(block(f1, f2)).mmul(jq.transpose()))
        .add(jq.mmul(block(f2, f1)).mmul(jp.transpose()));
      return sum.trace();
    };
    // First-order covariances at residuals that are not zero: equal to a residual over a lever arm.
    expect(Math.abs(relative(a) / relative(b) - 1)).toBeLessThan(1e-4);
    expect(a.frames.find((f) => f.frame === f0)?.status).toBe('fixed');
    // Symmetric: block (i, j) is the transpose of (j, i).
    const [ij, ji] = [a.crossCovariance(f1, f2)!, a.crossCovariance(f2, f1)!];
    for (let r = 0; r < 6; r++)
      for (let c = 0; c < 6; c++) expect(Math.abs(ij[6 * r + c]! - ji[6 * c + r]!)).toBeLessThan(1e-18);
    expect(a.crossCovariance(f1, 'nowhere')).toBeNull();
  });

  it('inner constraints: covariance is the pseudo-inverse in the stated norm, residuals unchanged, trace least', async () => {
    const scene = makeMixedScene(7, 4);
    const start = new Map(scene.jobFromFrame);
    const held = await run(scene.observations, { start, enlarge: 'never' });
    const free = await run(scene.observations, { start, datum: { kind: 'inner-constraints' }, enlarge: 'never' });
    expect(free.frames.every((f) => f.status === 'adjusted')).toBe(true);
    expect(Math.abs(free.weightedSumSquares - held.weightedSumSquares)).toBeLessThan(1e-7);
    expect(free.redundancy).toBe(held.redundancy);
    // Scaled covariance (rotations as lengths at each frame's radius) of all frames: S C S^T is singular along the six
    // motions of the whole, and equal to the pseudo-inverse of its own pseudo-inverse; the trace is least among datums.
    const radius = 500;
    const stated = scene.frames.map((frame) => ({ frame, centre: [0, 0, 0] as Vec3, radius }));
    const same = await run(scene.observations, {
      start,
      datum: { kind: 'inner-constraints' },
      enlarge: 'never',
      frames: stated,
    });
    const fixed = await run(scene.observations, { start, enlarge: 'never', frames: stated });
    const full = (r: NetworkAdjustment): Matrix => {
      const n = 6 * scene.frames.length;
      const m = Matrix.zeros(n, n);
      scene.frames.forEach((x, i) => {
        scene.frames.forEach((y, j) => {
          const c = r.crossCovariance(x, y)!;
          for (let p = 0; p < 6; p++) {
            for (let q = 0; q < 6; q++)
              m.set(6 * i + p, 6 * j + q, c[6 * p + q]! * (p < 3 ? 1 : radius) * (q < 3 ? 1 : radius));
          }
        });
      });
      return m;
    };
    const [inner, outer] = [full(same), full(fixed)];
    expect(inner.trace()).toBeLessThan(outer.trace());
    const motions = Matrix.zeros(inner.rows, 6);
    same.frames.forEach((f, i) => {
      const c = f.covarianceReference!;
      for (let k = 0; k < 3; k++) {
        motions.set(6 * i + k, k, 1);
        motions.set(6 * i + 3 + k, 3 + k, radius);
      }
      const turn = [
        [0, c[2], -c[1]],
        [-c[2], 0, c[0]],
        [c[1], -c[0], 0],
      ];
      for (let p = 0; p < 3; p++) for (let k = 0; k < 3; k++) motions.set(6 * i + p, 3 + k, turn[p]![k]!);
    });
    const size = inner.trace();
    for (const value of inner.mmul(motions).to1DArray()) expect(Math.abs(value)).toBeLessThan(1e-6 * size * 2000);
    // The same S-transformation by another library's projector.
    const projector = Matrix.eye(inner.rows).sub(motions.mmul(pseudoInverse(motions)));
    const expected = projector.mmul(outer).mmul(projector.transpose());
    const difference = Matrix.sub(expected, inner);
    // The two solutions lie some 1e-5 rad apart, and so do the axes of their covariances.
    expect(difference.norm()).toBeLessThan(2e-4 * expected.norm());
  });

  it('weights of Huber leave a gross target aside', async () => {
    const random = makeRandom(8, 'gross');
    const poses = [0, 1, 2, 3].map(
      (i): Pose => ({
        rotation: quaternionOfVector([0.3 * i, 0, i]),
        translation: [100 * i, 50, -20 * i],
      }),
    );
    const points = Array.from({ length: 8 }, () => place(random, 2000));
    const observations = poses.flatMap((pose, i) =>
      points.map((p, t): NetworkObservation => {
        const at = transformPoint(invert(pose), p);
        return {
          kind: 'target',
          tie: `list ${i}`,
          frame: `scan ${i}`,
          target: `T${t}`,
          position: [at[0] + 0.05 * random.normal(), at[1] + 0.05 * random.normal(), at[2] + 0.05 * random.normal()],
          covariance: isotropicCovariance(0.05),
        };
      }),
    );
    const spoiled = observations.map(
      (o): NetworkObservation =>
        o.kind === 'target' && o.frame === 'scan 2' && o.target === 'T3'
          ? { ...o, position: [o.position[0] + 10, o.position[1], o.position[2]] }
          : o,
    );
    const clean = await run(observations);
    const plain = await run(spoiled);
    const robust = await run(spoiled, { robust: 'huber' });
    const off = (r: NetworkAdjustment): number => {
      const [p, q] = [r, clean].map((x) => transformPoint(x.frames[2]!.jobFromFrame!, [0, 0, 0])) as [Vec3, Vec3];
      return Math.hypot(p[0] - q[0], p[1] - q[1], p[2] - q[2]);
    };
    expect(off(plain)).toBeGreaterThan(0.5);
    expect(off(robust)).toBeLessThan(0.25 * off(plain));
    const low = robust.points.filter((p) => p.robustWeight < 0.1);
    expect(low.map((p) => `${p.frames[0]} ${p.name}`)).toEqual(['scan 2 T3']);
    expect(robust.converged).toBe(true);
    expect(plain.suspects?.observations.map((p) => `${p.frames[0]} ${p.name}`)).toEqual(['scan 2 T3']);
  });
});

describe('weights', () => {
  it('two overlaps of unequal weight meet where the lever law puts them (by hand)', async () => {
    // Two forms of 100 independent distances each, sigma 0.1 and 0.2, so weights 4 to 1; they want x = 0 and x = 1 mm.
    const form = (tie: string, x: number, sigma: number): NetworkObservation => ({
      kind: 'overlap',
      tie,
      frameA: 'a',
      frameB: 'b',
      scanA: null,
      scanB: null,
      bFromA0: { rotation: quaternionOfVector([0, 0, 2]), translation: [5000 + x, -3000, 100] },
      reference: [5000, -3000, 100],
      information: Array.from({ length: 36 }, (_, k) => (k % 7 === 0 ? (k < 21 ? 100 : 1e8) : 0)),
      gradient: [0, 0, 0, 0, 0, 0],
      sumSquares: 0,
      count: 100,
      effectiveCount: 100,
      sigma,
      largest: 0,
      overlapShare: 1,
      weakDirections: [],
      weighed: null,
    });
    const result = await run([form('good', 0, 0.1), form('poor', 1, 0.2)], {
      datum: { kind: 'fixed-frame', frame: 'b' },
      enlarge: 'never',
    });
    const a = result.frames.find((f) => f.frame === 'a')!;
    expect(a.jobFromFrame!.translation[0] - 5000).toBeCloseTo(0.2, 9);
    // Variance of each shift: 1 / (100/0.01 + 100/0.04) = 8e-5; vPv = 1^2 / (1e-4 + 4e-4) = 2000; redundancy 12 - 6.
    expect(a.covariance![0]).toBeCloseTo(8e-5, 12);
    expect(result.weightedSumSquares).toBeCloseTo(2000, 5);
    expect(result.redundancy).toBe(6);
    // The share of each tie in the redundancy: the better one is checked less.
    expect(result.ties.map((t) => Number(t.redundancy.toFixed(6)))).toEqual([1.2, 4.8]);
    expect(result.closures[0]?.translation).toBeCloseTo(1, 9);
  });
});

describe('loop closures', () => {
  it('list the shortest loops, two ties between the same frames too, and name the frames of a wrong one', async () => {
    const random = makeRandom(5, 'ring');
    const count = 8;
    const poses = Array.from(
      { length: count },
      (_, i): Pose => ({ rotation: quaternionOfVector([0, 0, i]), translation: [100 * i, 0, 0] }),
    );
    const frames = poses.map((_, i) => `s${i}`);
    const overlaps = poses.map((_, i) => {
      const j = (i + 1) % count;
      return makeOverlap(random, {
        tie: `overlap ${i}`,
        frameA: frames[i]!,
        frameB: frames[j]!,
        jobFromA: poses[i]!,
        jobFromB: poses[j]!,
        centre: [1000 * Math.cos((i * Math.PI) / 4), 1000 * Math.sin((i * Math.PI) / 4), 0],
        size: 500,
        sigma: 1e-6,
        offset: [0, 0, 0, 0, 0, 0],
      });
    });
    const good = await run(overlaps);
    expect(good.closures.length).toBe(1);
    expect(good.closures[0]?.frames.length).toBe(8);
    expect(good.closures[0]?.translation).toBeLessThan(1e-4);
    // One wrong edge of the ring (field trouble 36): the closure shows it, the ring says that something is wrong.
    const wrong = overlaps.map((o, i) =>
      i === 3 ? { ...o, bFromA0: perturb(o.bFromA0, [4, 0, 0, 0, 0, 0.01], o.reference) } : o,
    );
    const bad = await run(wrong);
    expect(bad.closures[0]?.translation).toBeGreaterThan(1);
    expect(bad.closures[0]?.angle).toBeCloseTo(0.01, 5);
    // A chord makes two short loops; the bad one is the one with the wrong edge.
    const chord = makeOverlap(random, {
      tie: 'chord',
      frameA: frames[1]!,
      frameB: frames[5]!,
      jobFromA: poses[1]!,
      jobFromB: poses[5]!,
      centre: [0, 0, 0],
      size: 500,
      sigma: 1e-6,
      offset: [0, 0, 0, 0, 0, 0],
    });
    const split = await run([...wrong, chord]);
    expect(split.closures.length).toBe(2);
    const sorted = [...split.closures].sort((x, y) => x.angle - y.angle);
    expect(sorted[0]?.angle).toBeLessThan(1e-7);
    expect(sorted[1]?.ties).toContain('overlap 3');
    expect(sorted[0]?.ties).not.toContain('overlap 3');
    const twice = await run([overlaps[0]!, { ...overlaps[0]!, tie: 'again' }]);
    expect(twice.closures.map((c) => c.frames)).toEqual([['s0', 's1']]);
  });
});

describe('uncertainty at points', () => {
  it('is the propagation of the pose covariance: by numeric derivatives and by another eigenvalue solver', async () => {
    const scene = makeMixedScene(9, 3);
    const result = await run(scene.observations);
    const frame = result.frames[2]!;
    const random = makeRandom(1, 'points');
    const points = Array.from(
      { length: 20 },
      (): Vec3 => [random.normal() * 3000, random.normal() * 3000, random.normal() * 3000],
    );
    const c = new Matrix(Array.from({ length: 6 }, (_, i) => frame.covariance!.slice(6 * i, 6 * i + 6)));
    const positions = Float32Array.from(points.flat());
    const many = pointUncertainties(frame, positions, [0, 0, 0])!;
    points.forEach((point, n) => {
      const jacobian = Matrix.zeros(3, 6);
      const local = transformPoint(invert(frame.jobFromFrame!), point);
      for (let k = 0; k < 6; k++) {
        const h = k < 3 ? 1e-3 : 1e-6;
        const motion = [0, 0, 0, 0, 0, 0];
        motion[k] = h;
        const up = transformPoint(perturb(frame.jobFromFrame!, motion, frame.covarianceReference!), local);
        motion[k] = -h;
        const down = transformPoint(perturb(frame.jobFromFrame!, motion, frame.covarianceReference!), local);
        for (let i = 0; i < 3; i++) jacobian.set(i, k, (up[i]! - down[i]!) / (2 * h));
      }
      const expected = jacobian.mmul(c).mmul(jacobian.transpose());
      const own = pointCovariance(frame, point)!;
      const size = expected.trace();
      own.covariance.forEach((v, k) => {
        expect(Math.abs(v - expected.get(Math.floor(k / 3), k % 3))).toBeLessThan(1e-7 * size);
      });
      const axes = new EigenvalueDecomposition(expected, { assumeSymmetric: true }).realEigenvalues;
      expect(own.largestSemiAxis / (2 * Math.sqrt(Math.max(...axes)))).toBeCloseTo(1, 6);
      expect((many[n] as number) / own.largestSemiAxis).toBeCloseTo(1, 5);
    });
  });

  it('shows the lever arm: 0.01 degrees over 4 m is 0.6981 mm', () => {
    const turn = (0.01 * Math.PI) / 180;
    const covariance = new Array<number>(36).fill(0);
    covariance[35] = turn * turn;
    const frame = {
      frame: 'inside',
      jobFromFrame: { rotation: [1, 0, 0, 0] as const, translation: [0, 0, 0] as Vec3 },
      covariance,
      covarianceReference: [0, 0, 0] as Vec3,
      status: 'adjusted' as const,
      message: '',
      remedy: '',
      rivals: [],
    };
    expect(pointCovariance(frame, [4000, 0, 0])!.largestSemiAxis / 2).toBeCloseTo(0.6981, 4);
    expect(pointCovariance(frame, [0, 0, 4000])!.largestSemiAxis).toBe(0);
    expect(pointCovariance({ ...frame, covariance: null }, [0, 0, 0])).toBeNull();
    expect(pointUncertainties({ ...frame, covarianceReference: null }, new Float32Array(3), [0, 0, 0])).toBeNull();
  });
});
