import {
  adjustAndNameSuspects,
  adjustNetwork,
  chiSquareTail,
  compose,
  invert,
  isotropicCovariance,
  makeRandom,
  makeRunContext,
  type NetworkAdjustment,
  type NetworkObservation,
  type OverlapObservation,
  type Pose,
  perturb,
  quaternionOfVector,
  transformPoint,
  type Vec3,
  vectorOfQuaternion,
} from '@lapjoint/engine';
import { inverse, Matrix } from 'ml-matrix';
import { describe, expect, it } from 'vitest';
import { makeMixedScene, makeOverlap, randomPose } from './network-scene.ts';

function near(actual: number, expected: number, tolerance: number): void {
  expect(Math.abs(actual - expected), `${actual} is not ${expected}`).toBeLessThanOrEqual(tolerance);
}

const run = (observations: readonly NetworkObservation[], options = {}): Promise<NetworkAdjustment> =>
  adjustNetwork(observations, { enlarge: 'never', ...options }, makeRunContext());
const tieOf = (result: NetworkAdjustment, id: string) => result.ties.find((t) => t.id === id)!;

/** Overlaps between frames given by pairs of letters, each with its own noise; `shift` moves the answer of one. */
function overlapNetwork(seed: number, edges: readonly string[], shift?: { tie: string; motion: number[] }) {
  const random = makeRandom(seed, 'overlap-network');
  const names = [...new Set(edges.flatMap((e) => [...e]))].sort();
  const poses = new Map(
    names.map((n, i): [string, Pose] => [
      n,
      i === 0 ? { rotation: [1, 0, 0, 0], translation: [0, 0, 0] } : randomPose(random, 1500),
    ]),
  );
  return edges.map((edge, i): OverlapObservation => {
    const [a, b] = [edge[0]!, edge[1]!];
    const overlap = makeOverlap(random, {
      tie: edge,
      frameA: a,
      frameB: b,
      jobFromA: poses.get(a)!,
      jobFromB: poses.get(b)!,
      centre: [700 * Math.cos(i), 700 * Math.sin(i), 100 * i],
      size: 500,
      sigma: 0.05,
    });
    if (shift?.tie !== edge) return overlap;
    return { ...overlap, bFromA0: perturb(overlap.bFromA0, shift.motion, overlap.reference) };
  });
}

describe('a tie against the rest of the network', () => {
  it('is what solving without it gives: d^T (Q_tie + Q_rest)^-1 d', async () => {
    const observations = overlapNetwork(5, ['AB', 'BC', 'CD', 'DA', 'AC'], {
      tie: 'BC',
      motion: [0.03, -0.02, 0.05, 1e-4, 5e-5, -8e-5],
    });
    const whole = await run(observations);
    for (const left of observations) {
      const rest = await run(observations.filter((o) => o !== left));
      const poseOf = (frame: string): Pose => rest.frames.find((f) => f.frame === frame)!.jobFromFrame!;
      const motion = (a: Pose, b: Pose): number[] => {
        const off = compose(compose(invert(b), a), invert(left.bFromA0));
        const at = transformPoint(off, left.reference);
        return [...at.map((v, k) => v - left.reference[k]!), ...vectorOfQuaternion(off.rotation)];
      };
      // The tie's own answer and its weight, from its form alone.
      const unit = [1, 1, 1, 1 / 500, 1 / 500, 1 / 500];
      const h = new Matrix(6, 6);
      const g = new Matrix(6, 1);
      for (let i = 0; i < 6; i++) {
        g.set(i, 0, left.gradient[i]! * unit[i]!);
        for (let j = 0; j < 6; j++) h.set(i, j, left.information[6 * i + j]! * unit[i]! * unit[j]!);
      }
      const own = inverse(h).mmul(g).mul(-1);
      const least = left.sumSquares + g.transpose().mmul(own).get(0, 0);
      const variance = Math.max(left.sigma ** 2, least / left.count);
      // The answer of the rest and its covariance, by differences.
      const [a, b] = [poseOf(left.frameA), poseOf(left.frameB)];
      const answer = Matrix.columnVector(motion(a, b).map((v, i) => v / unit[i]!));
      const jacobian = (frame: string): Matrix => {
        const reference = rest.frames.find((f) => f.frame === frame)!.covarianceReference!;
        const m = new Matrix(6, 6);
        for (let k = 0; k < 6; k++) {
          const step = k < 3 ? 1e-3 : 1e-6;
          const moved = (s: number): number[] => {
            const six = [0, 0, 0, 0, 0, 0];
            six[k] = s * step;
            return motion(
              frame === left.frameA ? perturb(a, six, reference) : a,
              frame === left.frameB ? perturb(b, six, reference) : b,
            );
          };
          const [up, down] = [moved(1), moved(-1)];
          for (let i = 0; i < 6; i++) m.set(i, k, (up[i]! - down[i]!) / (2 * step) / unit[i]!);
        }
        return m;
      };
      const spread = inverse(h).mul(variance);
      for (const x of [left.frameA, left.frameB])
        for (const y of [left.frameA, left.frameB]) {
          const c = rest.crossCovariance(x, y);
          if (c)
            spread.add(
              jacobian(x)
                .mmul(Matrix.from1DArray(6, 6, [...c]))
                .mmul(jacobian(y).transpose()),
            );
        }
      const d = answer.sub(own);
      const expected = d.transpose().mmul(inverse(spread)).mmul(d).get(0, 0);
      const { statistic, degreesOfFreedom, probability } = tieOf(whole, left.tie).test!;
      expect(degreesOfFreedom).toBe(6);
      near(statistic / expected, 1, 1e-4);
      near(probability, Math.min(1, 5 * chiSquareTail(statistic, 6)), 1e-9);
    }
  });

  it('a ring of overlaps cannot tell which: all statistics are the whole vPv', async () => {
    const motion = [0.5, 0, 0.3, 0, 0, 0];
    const result = await run(overlapNetwork(1, ['AB', 'BC', 'CA'], { tie: 'BC', motion }));
    for (const t of result.ties) {
      near(t.test!.statistic / result.weightedSumSquares, 1, 1e-5);
      expect(t.test!.verdict).toBe('cannot-tell');
      expect([...t.test!.confusedWith].sort()).toEqual(['AB', 'BC', 'CA'].filter((id) => id !== t.id));
    }
    expect(result.suspect!.words.length).toBe(3);
  });

  it('a chain checks nothing and says so', async () => {
    const result = await run(overlapNetwork(2, ['AB', 'BC', 'CD'], { tie: 'BC', motion: [9, 0, 0, 0, 0, 0] }));
    for (const t of result.ties) {
      expect(t.test).toMatchObject({ verdict: 'not-checked', degreesOfFreedom: 0, detectable: null, effect: null });
      expect(t.test!.probability).toBe(1);
    }
    expect(result.suspect).toBeNull();
  });

  it('a ring with a chord: the slipped overlap stands out, or is confused only with its neighbour of the same arc', async () => {
    // A-B-C-A and A-C-D-A: AB and BC lie on one arc, alike for the network.
    const edges = ['AB', 'BC', 'CD', 'DA', 'AC'];
    const motion = [0.4, -0.3, 0.5, 0, 0, 0];
    const chord = await run(overlapNetwork(3, edges, { tie: 'AC', motion }));
    expect(tieOf(chord, 'AC').test!.verdict).toBe('stands-out');
    for (const id of ['AB', 'BC', 'CD', 'DA']) expect(tieOf(chord, id).test!.verdict).toBe('agrees');
    const arc = await run(overlapNetwork(3, edges, { tie: 'AB', motion }));
    expect(tieOf(arc, 'AB').test).toMatchObject({ verdict: 'cannot-tell', confusedWith: ['BC'] });
    expect(tieOf(arc, 'BC').test).toMatchObject({ verdict: 'cannot-tell', confusedWith: ['AB'] });
    for (const id of ['CD', 'DA', 'AC']) expect(tieOf(arc, id).test!.verdict).toBe('agrees');
  });

  it('a rough tie still checks a good one against gross errors, and neither is blamed alone', async () => {
    const [overlap] = overlapNetwork(4, ['AB']) as [OverlapObservation];
    const random = makeRandom(9, 'rough');
    const bFromA = compose(overlap.bFromA0, { rotation: [1, 0, 0, 0], translation: [0, 0, 0] });
    const pairs = Array.from({ length: 5 }, (): NetworkObservation => {
      const a: Vec3 = [random.normal() * 400, random.normal() * 400, random.normal() * 400];
      const b = transformPoint(bFromA, a).map((v) => v + 5 * random.normal()) as unknown as Vec3;
      return { kind: 'pair', tie: 'picked', frameA: 'A', frameB: 'B', a, b, sigma: 5 };
    });
    const good = await run([overlap, ...pairs]);
    expect(tieOf(good, 'AB').test!.verdict).toBe('agrees');
    expect(tieOf(good, 'AB').test!.degreesOfFreedom).toBe(6);
    const slipped = { ...overlap, bFromA0: perturb(overlap.bFromA0, [0, 80, 0, 0, 0, 0], overlap.reference) };
    const bad = await run([slipped, ...pairs]);
    expect(tieOf(bad, 'AB').test).toMatchObject({ verdict: 'cannot-tell', confusedWith: ['picked'] });
    expect(tieOf(bad, 'picked').test).toMatchObject({ verdict: 'cannot-tell', confusedWith: ['AB'] });
  });
});

describe('detectable errors of ties', () => {
  it('an error of the stated size is found in about 80 % of networks, and moves a frame by no more than stated', async () => {
    const edges = ['AB', 'BC', 'CA', 'AD', 'BD', 'CD'];
    const clean = await run(overlapNetwork(50, edges));
    const { detectable, effect } = tieOf(clean, 'AD').test!;
    expect(detectable).toBeGreaterThan(0);
    expect(effect).toBeGreaterThan(0);
    // In the least seen direction exactly 80 %; in a direction chosen at random more.
    let found = 0;
    const trials = 40;
    for (let seed = 0; seed < trials; seed++) {
      const random = makeRandom(seed, 'direction');
      const v = [random.normal(), random.normal(), random.normal()];
      const length = Math.hypot(...v);
      const motion = [...v.map((x) => (x / length) * detectable!), 0, 0, 0];
      const result = await run(overlapNetwork(100 + seed, edges, { tie: 'AD', motion }));
      if (tieOf(result, 'AD').test!.probability < 0.01) found++;
    }
    expect(found / trials).toBeGreaterThan(0.8);
  });

  it('does not change when the job is turned and moved far away, or the fixed frame is another', async () => {
    const observations = makeMixedScene(8, 5).observations;
    const base = await run(observations);
    const far: Pose = { rotation: quaternionOfVector([0.4, -1, 0.7]), translation: [1e6, -2e6, 3e6] };
    const first = base.frames[0]!;
    const moved = await run(observations, { start: new Map([[first.frame, far]]) });
    const other = await run(observations, { datum: { kind: 'fixed-frame', frame: base.frames[3]!.frame } });
    const free = await run(observations, { datum: { kind: 'inner-constraints' } });
    for (const t of base.ties) {
      for (const result of [moved, other, free]) {
        const u = tieOf(result, t.id);
        near(u.test!.statistic, t.test!.statistic, 1e-4 * (1 + t.test!.statistic));
        expect(u.test!.degreesOfFreedom).toBe(t.test!.degreesOfFreedom);
        if (t.test!.detectable !== null) near(u.test!.detectable! / t.test!.detectable, 1, 1e-4);
      }
      if (t.test!.effect !== null) near(tieOf(moved, t.id).test!.effect! / t.test!.effect, 1, 1e-4);
    }
  });
});

describe('lists of targets', () => {
  it('a list of another day is named as a whole, a wrong number as one target', async () => {
    const random = makeRandom(3, 'lists');
    const poses = ['A', 'B', 'C'].map((f, i): [string, Pose] => [
      f,
      i === 0 ? { rotation: [1, 0, 0, 0], translation: [0, 0, 0] } : randomPose(random, 2000),
    ]);
    const job = Array.from(
      { length: 8 },
      (): Vec3 => [random.normal() * 700, random.normal() * 700, random.normal() * 700],
    );
    const observe = (change: (frame: string, i: number, p: Vec3) => Vec3): NetworkObservation[] =>
      poses.flatMap(([frame, pose]) =>
        job.map(
          (p, i): NetworkObservation => ({
            kind: 'target',
            tie: `targets ${frame}`,
            frame,
            target: `T${i}`,
            position: transformPoint(invert(pose), change(frame, i, p)).map(
              (v) => v + 0.03 * random.normal(),
            ) as unknown as Vec3,
            covariance: isotropicCovariance(0.03),
          }),
        ),
      );
    // Four of the eight targets sit on a door that stood elsewhere when B was captured; B's list of them is a tie of its own.
    const swing: Pose = { rotation: quaternionOfVector([0, 0, 0.003]), translation: [0.5, 0, 0] };
    const stale = observe((frame, i, p) => (frame === 'B' && i >= 4 ? transformPoint(swing, p) : p)).map((o) =>
      o.kind === 'target' && Number(o.target[1]) >= 4 ? { ...o, tie: `door ${o.frame}` } : o,
    );
    const result = await run(stale);
    expect(result.suspect!.ties).toContain('door B');
    const observations = observe((frame, i, p) => (frame === 'B' && i === 2 ? job[5]! : p));
    const wrong = await run(observations);
    expect(wrong.suspect!.words).toEqual(['target T2 in B']);
    expect(tieOf(wrong, 'targets B').test!.verdict).toBe('stands-out');
    // A number wrong by a metre bends the rest: whether it fits shows when the suspect is left out.
    const context = makeRunContext();
    const named = await adjustAndNameSuspects(observations, { leaveOut: true }, context);
    expect(named.suspects.map((s) => s.words)).toEqual([['target T2 in B']]);
    expect(tieOf(named.adjustment, 'targets B').test!.verdict).toBe('stands-out');
    expect(tieOf(named.adjustment, 'targets B').message).toContain('target T2 in B');
    for (const id of ['targets A', 'targets C']) expect(tieOf(named.adjustment, id).test!.verdict).toBe('agrees');
    expect(named.adjustment.globalTest!.probability).toBeGreaterThan(0.001);
    expect(context.findings.items.map((f) => f.code)).toContain('observation-stands-out');
  });
});
