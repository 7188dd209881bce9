import {
  adjustNetwork,
  compose,
  IDENTITY_POSE,
  invert,
  isotropicCovariance,
  makeRandom,
  makeRunContext,
  type NetworkObservation,
  type Pose,
  quaternionOfVector,
  rotationAngle,
  transformPoint,
  type Vec3,
} from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';
import { makeMixedScene, makeOverlap, place } from './network-scene.ts';

const outside: Pose = IDENTITY_POSE;
const inside: Pose = { rotation: [1, 0, 0, 0], translation: [500, 200, -100] };

function overlap(tie: string, normals: 'any' | 'plane', seed = 1): NetworkObservation {
  return makeOverlap(makeRandom(seed, tie), {
    tie,
    frameA: 'inside',
    frameB: 'outside',
    jobFromA: inside,
    jobFromB: outside,
    centre: [1000, 0, 0],
    size: 600,
    sigma: 0.05,
    normals,
  });
}

function targets(frame: string, pose: Pose, points: readonly Vec3[], sigma = 0.05): NetworkObservation[] {
  return points.map((p, i) => ({
    kind: 'target',
    tie: `targets of ${frame}`,
    frame,
    target: `T${i}`,
    position: transformPoint(invert(pose), p),
    covariance: isotropicCovariance(sigma),
  }));
}

describe('frames that are not held', () => {
  it('a plane overlap leaves two shifts and the turn about the normal', async () => {
    const context = makeRunContext();
    const result = await adjustNetwork(
      [overlap('floor', 'plane')],
      { datum: { kind: 'fixed-frame', frame: 'outside' } },
      context,
    );
    const frame = result.frames.find((f) => f.frame === 'inside')!;
    expect(frame).toMatchObject({ status: 'refused', jobFromFrame: null, covariance: null });
    expect(frame.message).toBe('Nothing holds `inside` along X, along Y, about Z.');
    expect(frame.remedy).toContain('holds this motion');
    expect(context.findings.items.find((f) => f.subject === 'inside')?.severity).toBe('refusal');
    // Three numbers observed, three unknowns held, none left over.
    expect(result.redundancy).toBe(0);
    expect(result.varianceFactor).toBeNull();
  });

  it('two targets leave the turn about their line, a third cures it', async () => {
    const line: Vec3[] = [
      [1000, 0, 0],
      [1000, 800, 0],
    ];
    const tie = (points: Vec3[]): NetworkObservation[] => [
      ...targets('outside', outside, points),
      ...targets('inside', inside, points),
    ];
    const two = await adjustNetwork(tie(line), {}, makeRunContext());
    const frame = two.frames[1]!;
    expect(frame.status).toBe('refused');
    expect(frame.message).toMatch(/Nothing holds `inside` about (Y|an axis along Y)\./);
    const three = await adjustNetwork(tie([...line, [400, 300, 500]]), {}, makeRunContext());
    expect(three.frames[1]).toMatchObject({ status: 'adjusted' });
  });

  it('a plane and one target together hold everything but the turn; with two targets everything', async () => {
    const far: Vec3[] = [
      [1200, 100, 0],
      [900, 700, 0],
    ];
    const all = [overlap('floor', 'plane'), ...targets('outside', outside, far), ...targets('inside', inside, far)];
    const one = await adjustNetwork(
      all.filter((o) => o.kind !== 'target' || o.target === 'T0'),
      { datum: { kind: 'fixed-frame', frame: 'outside' } },
      makeRunContext(),
    );
    expect(one.frames.find((f) => f.frame === 'inside')?.message).toMatch(
      /Nothing holds `inside` about (Z|an axis along Z)\./,
    );
    const both = await adjustNetwork(all, { datum: { kind: 'fixed-frame', frame: 'outside' } }, makeRunContext());
    expect(both.frames.find((f) => f.frame === 'inside')?.status).toBe('adjusted');
  });

  it('two frames that move together are both named; the rest is adjusted as without them', async () => {
    const scene = makeMixedScene(4, 4);
    const random = makeRandom(3, 'pair of frames');
    const base = await adjustNetwork(scene.observations, {}, makeRunContext());
    const poseOf = (): Pose => ({ rotation: quaternionOfVector([0.1, 0.2, 0.3]), translation: [5, 6, 7] });
    const [p, q] = [poseOf(), poseOf()];
    const floor = makeOverlap(random, {
      tie: 'floor',
      frameA: 'p',
      frameB: scene.frames[0]!,
      jobFromA: p,
      jobFromB: scene.jobFromFrame.get(scene.frames[0]!)!,
      centre: [0, 0, 0],
      size: 900,
      sigma: 0.05,
      normals: 'plane',
    });
    const together = makeOverlap(random, {
      tie: 'together',
      frameA: 'p',
      frameB: 'q',
      jobFromA: p,
      jobFromB: q,
      centre: [200, 0, 300],
      size: 900,
      sigma: 0.05,
    });
    const result = await adjustNetwork([...scene.observations, floor, together], {}, makeRunContext());
    for (const name of ['p', 'q']) {
      const f = result.frames.find((x) => x.frame === name)!;
      expect(f.status).toBe('refused');
      expect(f.message).toContain('along X');
      expect(f.message).toContain('along Y');
    }
    for (const f of base.frames) {
      const g = result.frames.find((x) => x.frame === f.frame)!;
      expect(g.status).toBe(f.status);
      g.jobFromFrame!.translation.forEach((t, k) => {
        expect(Math.abs(t - f.jobFromFrame!.translation[k]!)).toBeLessThan(1e-7);
      });
      g.covariance!.forEach((c, k) => {
        expect(Math.abs(c - f.covariance![k]! * (result.enlargement / base.enlargement))).toBeLessThanOrEqual(
          1e-9 * Math.abs(f.covariance![0]!),
        );
      });
    }
    expect(result.redundancy).toBe(base.redundancy);
  });

  it('frames that nothing ties to the rest are named, whichever frame comes first', async () => {
    const scene = makeMixedScene(6, 3);
    const stated = ['alone', ...scene.frames].map((frame) => ({ frame, centre: null, radius: null }));
    const lonely: NetworkObservation[] = [
      ...targets('island a', outside, [
        [0, 0, 0],
        [500, 0, 0],
        [0, 500, 0],
      ]),
      ...targets('island b', inside, [
        [0, 0, 0],
        [500, 0, 0],
        [0, 500, 0],
      ]),
    ];
    const result = await adjustNetwork([...scene.observations, ...lonely], { frames: stated }, makeRunContext());
    const status = Object.fromEntries(result.frames.map((f) => [f.frame, f.status]));
    expect(status).toEqual({
      alone: 'refused',
      'scan 1': 'fixed',
      'scan 2': 'adjusted',
      'scan 3': 'adjusted',
      'island a': 'refused',
      'island b': 'refused',
    });
    expect(result.frames[0]?.message).toBe('Nothing ties `alone` to the rest.');
    expect(result.ties.find((t) => t.id === 'targets of island a')).toMatchObject({ status: 'rejected', count: 0 });
    // Loops inside of the island or outside: none of them bring NaN.
    for (const t of result.ties) expect(Number.isFinite(t.rms)).toBe(true);
  });

  it('a motion known too loosely is refused with its size', async () => {
    const random = makeRandom(8, 'loose');
    const near: Vec3[] = Array.from({ length: 4 }, () => place(random, 20));
    const tie = [...targets('outside', outside, near, 8), ...targets('inside', inside, near, 8)];
    const result = await adjustNetwork(
      tie,
      {
        frames: [
          { frame: 'outside', centre: [0, 0, 0], radius: 1000 },
          { frame: 'inside', centre: [0, 0, 0], radius: 1000 },
        ],
      },
      makeRunContext(),
    );
    expect(result.frames[1]?.status).toBe('refused');
    expect(result.frames[1]?.message).toMatch(/Nothing holds `inside` .* better than \d+ mm\./);
  });

  it('no observations, one frame, and what is no number', async () => {
    const empty = await adjustNetwork([], {}, makeRunContext());
    expect(empty).toMatchObject({ frames: [], redundancy: 0, varianceFactor: null, converged: true });
    const single = await adjustNetwork(
      [],
      { frames: [{ frame: 'only', centre: null, radius: null }] },
      makeRunContext(),
    );
    expect(single.frames[0]).toMatchObject({ frame: 'only', status: 'fixed' });
    expect(single.frames[0]?.covariance?.every((c) => c === 0)).toBe(true);
    const bad = overlap('bad', 'any') as NetworkObservation & { kind: 'overlap' };
    await expect(
      adjustNetwork([{ ...bad, gradient: [Number.NaN, 0, 0, 0, 0, 0] }], {}, makeRunContext()),
    ).rejects.toThrow(RangeError);
    await expect(adjustNetwork([{ ...bad, frameA: 'outside' }], {}, makeRunContext())).rejects.toThrow(RangeError);
    await expect(
      adjustNetwork([bad], { datum: { kind: 'fixed-frame', frame: 'nowhere' } }, makeRunContext()),
    ).rejects.toThrow('nowhere');
    const stop = makeRunContext({ signal: { aborted: true } });
    await expect(adjustNetwork([bad], {}, stop)).rejects.toMatchObject({ name: 'AbortError' });
  });

  it('priors alone hold a network without a fixed frame', async () => {
    const scene = makeMixedScene(9, 3, 0);
    const first = scene.frames[0]!;
    const moved: Pose = { rotation: quaternionOfVector([0, 0, 1]), translation: [1e5, 2e5, 3e5] };
    const prior: NetworkObservation = {
      kind: 'prior',
      tie: 'known place',
      frame: first,
      jobFromFrame0: moved,
      reference: moved.translation,
      information: [
        1, 0, 0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 1e8, 0, 0, 0, 0, 0, 0, 1e8, 0, 0, 0, 0, 0, 0,
        1e8,
      ],
    };
    const result = await adjustNetwork([...scene.observations, prior], { datum: { kind: 'priors' } }, makeRunContext());
    expect(result.frames.map((f) => f.status)).toEqual(['adjusted', 'adjusted', 'adjusted']);
    const off = compose(invert(moved), result.frames[0]?.jobFromFrame as Pose);
    expect(rotationAngle(off.rotation)).toBeLessThan(1e-7);
    expect(Math.hypot(...off.translation)).toBeLessThan(1e-4);
    const none = await adjustNetwork(scene.observations, { datum: { kind: 'priors' } }, makeRunContext());
    expect(none.frames.every((f) => f.status === 'refused')).toBe(true);
  });
});
