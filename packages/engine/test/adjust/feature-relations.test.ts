import {
  type AdjustableObservation,
  adjustNetwork,
  cross,
  dot,
  type FrameFeature,
  IDENTITY_POSE,
  invert,
  makeRandom,
  makeRunContext,
  normalize,
  type Pose,
  perturb,
  type RelationObservation,
  rotate,
  scale,
  subtract,
  transformPoint,
  type Vec3,
} from '@lapjoint/engine';
import { inverse, Matrix } from 'ml-matrix';
import { describe, expect, it } from 'vitest';
import { place, randomPose } from './network-scene.ts';

const random = makeRandom(11, 'relations');
const truth = new Map<string, Pose>([
  ['a', IDENTITY_POSE],
  ['b', randomPose(random, 900)],
  ['c', randomPose(random, 900)],
]);
const unit = (): Vec3 => normalize([random.normal(), random.normal(), random.normal()]);
/** A feature given in the job, in a frame's own coordinates. */
const feature = (frame: string, shape: FrameFeature['shape'], point: Vec3, direction: Vec3): FrameFeature => {
  const back = invert(truth.get(frame)!);
  return { frame, shape, point: transformPoint(back, point), direction: rotate(back.rotation, direction) };
};
const mirrorPoint = (p: Vec3, q: Vec3, n: Vec3): Vec3 => subtract(p, scale(n, 2 * dot(n, subtract(p, q))));
const mirrorVector = (v: Vec3, n: Vec3): Vec3 => subtract(v, scale(n, 2 * dot(n, v)));

const SIGMA = 0.03;
const ANGLE = 1e-4;
const relation = (
  name: RelationObservation['relation'],
  a: FrameFeature,
  b: FrameFeature,
  plane: FrameFeature | null = null,
): RelationObservation => ({
  kind: 'relation',
  tie: `r${counter++}`,
  relation: name,
  a,
  b,
  plane,
  sigma: SIGMA,
  angleSigma: ANGLE,
});
let counter = 0;

function makeRelations(): RelationObservation[] {
  const [p, q, r, d, e, n] = [place(random, 800), place(random, 800), place(random, 800), unit(), unit(), unit()];
  const along = (s: number): Vec3 => [p[0] + s * d[0], p[1] + s * d[1], p[2] + s * d[2]];
  const inPlane = normalize(cross(n, unit()));
  return [
    relation('coincident', feature('a', 'point', q, d), feature('b', 'point', q, d)),
    relation('coincident', feature('b', 'point', along(300), d), feature('c', 'axis', p, d)),
    relation(
      'coincident',
      feature('c', 'plane', r, n),
      feature('a', 'point', [r[0] + 90 * inPlane[0], r[1] + 90 * inPlane[1], r[2] + 90 * inPlane[2]], n),
    ),
    relation('coincident', feature('a', 'axis', p, d), feature('b', 'axis', along(-400), scale(d, -1))),
    relation(
      'coincident',
      feature('b', 'plane', r, n),
      feature('c', 'plane', [r[0] + 200 * inPlane[0], r[1] + 200 * inPlane[1], r[2] + 200 * inPlane[2]], n),
    ),
    relation('parallel', feature('a', 'axis', q, e), feature('c', 'axis', r, e)),
    relation('parallel', feature('a', 'plane', q, n), feature('b', 'axis', p, inPlane)),
    relation('perpendicular', feature('b', 'axis', q, n), feature('c', 'axis', p, inPlane)),
    relation('perpendicular', feature('a', 'plane', q, e), feature('c', 'axis', p, e)),
    relation(
      'symmetric',
      feature('b', 'point', p, d),
      feature('c', 'point', mirrorPoint(p, r, n), d),
      feature('a', 'plane', r, n),
    ),
    relation(
      'symmetric',
      feature('b', 'axis', q, e),
      feature('c', 'axis', mirrorPoint(q, r, n), mirrorVector(e, n)),
      feature('a', 'plane', r, n),
    ),
    relation(
      'symmetric',
      feature('a', 'plane', q, d),
      feature('c', 'plane', mirrorPoint(q, r, n), mirrorVector(d, n)),
      feature('b', 'plane', r, n),
    ),
  ];
}

/** Whitened conditions from the definitions alone: vector products where the engine takes components. */
function conditions(o: RelationObservation, poses: ReadonlyMap<string, Pose>): number[] {
  const move = (f: FrameFeature): { p: Vec3; d: Vec3 } => ({
    p: transformPoint(poses.get(f.frame)!, f.point),
    d: rotate(poses.get(f.frame)!.rotation, f.direction),
  });
  let [a, b] = [move(o.a), move(o.b)];
  let [sa, sb] = [o.a.shape, o.b.shape];
  if (o.relation === 'symmetric') {
    const m = move(o.plane!);
    a = { p: mirrorPoint(a.p, m.p, m.d), d: mirrorVector(a.d, m.d) };
  }
  const off = (v: readonly number[]): number[] => v.map((x) => x / SIGMA);
  const turn = (v: readonly number[]): number[] => v.map((x) => x / ANGLE);
  if (o.relation === 'parallel' || o.relation === 'perpendicular') {
    const areLike = (sa === sb) === (o.relation === 'parallel');
    return areLike ? turn(cross(a.d, b.d)) : turn([dot(a.d, b.d)]);
  }
  const order = ['point', 'axis', 'plane'];
  if (order.indexOf(sa) > order.indexOf(sb)) [a, b, sa, sb] = [b, a, sb, sa];
  const gap = subtract(a.p, b.p);
  if (sb === 'point') return off(gap);
  const angles = sa === 'point' ? [] : sa === sb ? turn(cross(a.d, b.d)) : turn([dot(a.d, b.d)]);
  return [...(sb === 'axis' ? off(cross(b.d, gap)) : off([dot(b.d, gap)])), ...angles];
}

describe('relations of features and probed points', () => {
  it('find the true poses from a rough start; covariance as by numeric derivatives of the definitions', async () => {
    const relations = makeRelations();
    const probes = Array.from({ length: 6 }, (_, i): AdjustableObservation => {
      const [at, n] = [place(random, 900), unit()];
      const [frameA, frameB] = [
        ['a', 'b'],
        ['b', 'c'],
        ['c', 'a'],
      ][i % 3] as [string, string];
      const surface = feature(frameB, 'plane', at, n);
      const side = cross(n, unit());
      const probed: Vec3 = [at[0] + 3 * side[0], at[1] + 3 * side[1], at[2] + 3 * side[2]];
      return {
        kind: 'probe',
        tie: 'probe',
        frameA,
        frameB,
        point: feature(frameA, 'point', probed, n).point,
        surfacePoint: surface.point,
        normal: surface.direction,
        sigma: 0.05,
      };
    });
    const start = new Map(
      [...truth].map(([f, pose]) => [
        f,
        f === 'a' ? pose : perturb(pose, [3, -2, 4, 0.01, -0.02, 0.015], pose.translation),
      ]),
    );
    const observations = [...relations, ...probes];
    const result = await adjustNetwork(
      observations,
      { datum: { kind: 'fixed-frame', frame: 'a' }, start, enlarge: 'never' },
      makeRunContext(),
    );
    expect(result.converged).toBe(true);
    expect(result.weightedSumSquares).toBeLessThan(1e-9);
    for (const f of result.frames) {
      f.jobFromFrame!.translation.forEach((t, k) => {
        expect(Math.abs(t - truth.get(f.frame)!.translation[k]!)).toBeLessThan(1e-6);
      });
    }
    // 3 + 2 + 1 + 4 + 3 of coincidence, 2 + 1 + 1 + 2 of directions, 3 + 4 + 3 of symmetry, 6 probed points, 12 unknowns.
    expect(result.redundancy).toBe(29 + 6 - 12);
    const moving = result.frames.filter((f) => f.frame !== 'a');
    const evaluate = (x: Float64Array): number[] => {
      const poses = new Map(truth);
      moving.forEach((f, i) => {
        poses.set(f.frame, perturb(truth.get(f.frame)!, x.subarray(6 * i, 6 * i + 6), f.covarianceReference!));
      });
      const heights = probes.flatMap((o) => {
        if (o.kind !== 'probe') return [];
        const bFromJob = invert(poses.get(o.frameB)!);
        const inB = transformPoint(bFromJob, transformPoint(poses.get(o.frameA)!, o.point));
        return [dot(o.normal, subtract(inB, o.surfacePoint)) / o.sigma];
      });
      return [...relations.flatMap((o) => conditions(o, poses)), ...heights];
    };
    const columns = Array.from({ length: 12 }, (_, c) => {
      const h = c % 6 < 3 ? 1e-3 : 1e-6;
      const at = (d: number): number[] => evaluate(Float64Array.from({ length: 12 }, (__, k) => (k === c ? d : 0)));
      const [up, down] = [at(h), at(-h)];
      return up.map((v, k) => (v - down[k]!) / (2 * h));
    });
    const j = new Matrix(columns).transpose();
    const expected = inverse(j.transpose().mmul(j));
    moving.forEach((f, i) => {
      moving.forEach((g, k) => {
        const own = result.crossCovariance(f.frame, g.frame)!;
        own.forEach((value, e) => {
          const [r, s] = [6 * i + Math.floor(e / 6), 6 * k + (e % 6)];
          const size = Math.sqrt(expected.get(r, r) * expected.get(s, s));
          expect(Math.abs(value - expected.get(r, s)) / size).toBeLessThan(1e-5);
        });
      });
    });
  });

  it('refuse what cannot be', async () => {
    const wrong = relation(
      'parallel',
      feature('a', 'point', [0, 0, 0], [0, 0, 1]),
      feature('b', 'axis', [0, 0, 0], [0, 0, 1]),
    );
    await expect(adjustNetwork([wrong], { start: truth }, makeRunContext())).rejects.toThrow('cannot be parallel');
    const alone = relation(
      'coincident',
      feature('a', 'axis', [0, 0, 0], [0, 0, 1]),
      feature('a', 'axis', [0, 0, 0], [0, 0, 1]),
    );
    await expect(adjustNetwork([alone], {}, makeRunContext())).rejects.toThrow('with itself');
  });
});
