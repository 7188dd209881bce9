import {
  compose,
  invert,
  makeRandom,
  makeRunContext,
  matchTargetConstellations,
  type Pose,
  quaternionOfVector,
  type Random,
  rotationAngle,
  type Target,
  type TargetMatch,
  transformPoint,
  type Vec3,
} from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';

interface Scene {
  readonly a: Target[];
  readonly b: Target[];
  readonly truth: Pose;
  /** Index in b of each target of a, or -1. */
  readonly partner: number[];
}

interface SceneOptions {
  readonly common: number;
  readonly extraA: number;
  readonly extraB: number;
  readonly size: Vec3;
  readonly sigma: number;
  readonly names?: 'none' | 'equal' | 'numbered';
}

function shuffle<T>(items: readonly T[], random: Random): T[] {
  const out = [...items];
  for (let i = out.length - 1; i > 0; i--) {
    const j = random.integer(i + 1);
    [out[i], out[j]] = [out[j] as T, out[i] as T];
  }
  return out;
}

function makeScene(seed: number, options: SceneOptions): Scene {
  const random = makeRandom(seed, 'target-scene');
  const { size, sigma } = options;
  const truth: Pose = {
    rotation: quaternionOfVector([random.normal() * 2, random.normal() * 2, random.normal() * 2]),
    translation: [random.normal() * 4000, random.normal() * 4000, random.normal() * 4000],
  };
  const place = (): Vec3 => [
    (random.uniform() - 0.5) * size[0],
    (random.uniform() - 0.5) * size[1],
    (random.uniform() - 0.5) * size[2],
  ];
  const noisy = (p: Vec3): Vec3 => [
    p[0] + sigma * random.normal(),
    p[1] + sigma * random.normal(),
    p[2] + sigma * random.normal(),
  ];
  const total = options.common + options.extraA + options.extraB;
  const points = Array.from({ length: total }, place);
  const inA = points.map((_, i) => i).filter((i) => i < options.common + options.extraA);
  const inB = points.map((_, i) => i).filter((i) => i < options.common || i >= options.common + options.extraA);
  const orderA = shuffle(inA, random);
  const orderB = shuffle(inB, random);
  const name = (i: number, position: number): string =>
    options.names === 'equal' ? `T${i}` : options.names === 'numbered' ? String(position + 1) : '';
  const a = orderA.map((i, k): Target => ({ name: name(i, k), position: noisy(points[i] as Vec3), sigma }));
  const b = orderB.map(
    (i, k): Target => ({ name: name(i, k), position: noisy(transformPoint(truth, points[i] as Vec3)), sigma }),
  );
  return { a, b, truth, partner: orderA.map((i) => orderB.indexOf(i)) };
}

function isRight(result: TargetMatch, scene: Scene): boolean {
  return result.pairs.every((p) => scene.partner[p.a] === p.b);
}

const run = (a: readonly Target[], b: readonly Target[]): Promise<TargetMatch> =>
  matchTargetConstellations(a, b, {}, makeRunContext());

const plain = (points: readonly Vec3[], sigma = 0.05, names?: readonly string[]): Target[] =>
  points.map((position, i) => ({ name: names?.[i] ?? '', position, sigma }));

const move = (targets: readonly Target[], pose: Pose): Target[] =>
  targets.map((t) => ({ ...t, position: transformPoint(pose, t.position) }));

const anyPose: Pose = { rotation: quaternionOfVector([1, 0.5, -2]), translation: [700, -3000, 55] };

describe('common targets of two lists', () => {
  it('random constellations with missing and extra targets: right or refused, nearly always right, with a true covariance', async () => {
    let matched = 0;
    let complete = 0;
    let inside = 0;
    const trials = 120;
    for (let seed = 1; seed <= trials; seed++) {
      const scene = makeScene(seed, {
        common: 4 + (seed % 9),
        extraA: seed % 7,
        extraB: (seed * 3) % 11,
        size: seed % 3 === 0 ? [4000, 2000, 5] : [3000, 2000, 1500],
        sigma: 0.05,
      });
      const result = await run(scene.a, scene.b);
      if (result.status === 'refused') continue;
      matched++;
      expect(isRight(result, scene), `seed ${seed}`).toBe(true);
      if (result.pairs.length === scene.partner.filter((k) => k >= 0).length) complete++;
      // Rotation about z of the relative pose, in units of its stated uncertainty.
      const off = compose(scene.truth, invert(result.bFromA as Pose));
      const rz = 2 * off.rotation[3];
      if (Math.abs(rz) < 2 * Math.sqrt(result.covariance?.[35] as number)) inside++;
    }
    expect(matched).toBeGreaterThanOrEqual(0.95 * trials);
    expect(complete).toBeGreaterThanOrEqual(0.97 * matched);
    expect(inside / matched).toBeGreaterThan(0.954 - 4 * Math.sqrt((0.954 * 0.046) / matched));
  });

  it('1000 targets each, 400 of them common, without names', async () => {
    const scene = makeScene(1000, { common: 400, extraA: 600, extraB: 600, size: [6000, 3000, 2500], sigma: 0.05 });
    const result = await run(scene.a, scene.b);
    expect(result.status).toBe('matched');
    expect(isRight(result, scene)).toBe(true);
    expect(result.pairs.length).toBeGreaterThanOrEqual(398);
    expect(result.margin).toBeGreaterThan(0.9);
    expect(rotationAngle(compose(scene.truth, invert(result.bFromA as Pose)).rotation)).toBeLessThan(1e-5);
  });

  it('20 targets of a tracker among 600 of a handheld instrument', async () => {
    const scene = makeScene(77, { common: 18, extraA: 2, extraB: 600, size: [5000, 2500, 2000], sigma: 0.06 });
    const result = await run(scene.a, scene.b);
    expect(result.status).toBe('matched');
    expect(isRight(result, scene)).toBe(true);
    expect(result.pairs.length).toBe(18);
    const back = await run(scene.b, scene.a);
    expect(back.pairs.map((p) => [p.b, p.a]).sort()).toEqual(result.pairs.map((p) => [p.a, p.b]).sort());
  });

  it('unrelated lists are refused, never matched', async () => {
    for (let seed = 1; seed <= 30; seed++) {
      const scene = makeScene(seed + 500, {
        common: 0,
        extraA: 3 + seed,
        extraB: 5 + 2 * seed,
        size: [2000, 1500, 800],
        sigma: 0.1,
      });
      const result = await run(scene.a, scene.b);
      expect(result.status, `seed ${seed}`).toBe('refused');
      expect(result.bFromA).toBeNull();
      expect(['no-match', 'chance', 'ambiguous']).toContain(result.reason);
    }
  });

  it('the order of the lists does not matter, bit for bit, and swapped roles give the inverse', async () => {
    const scene = makeScene(5, { common: 9, extraA: 5, extraB: 4, size: [2000, 1000, 700], sigma: 0.05 });
    const result = await run(scene.a, scene.b);
    const random = makeRandom(9, 'order');
    const orderA = shuffle(
      scene.a.map((_, i) => i),
      random,
    );
    const orderB = shuffle(
      scene.b.map((_, i) => i),
      random,
    );
    const again = await run(
      orderA.map((i) => scene.a[i] as Target),
      orderB.map((i) => scene.b[i] as Target),
    );
    expect(again.bFromA).toEqual(result.bFromA);
    expect(again.covariance).toEqual(result.covariance);
    expect(again.pairs.map((p) => `${orderA[p.a]} ${orderB[p.b]}`).sort()).toEqual(
      result.pairs.map((p) => `${p.a} ${p.b}`).sort(),
    );
    const back = await run(scene.b, scene.a);
    const round = compose(back.bFromA as Pose, result.bFromA as Pose);
    expect(rotationAngle(round.rotation)).toBeLessThan(1e-11);
    expect(Math.hypot(...round.translation)).toBeLessThan(1e-7);
    expect(back.margin).toBe(result.margin);
  });

  it('does not depend on the unit or the origin', async () => {
    const scene = makeScene(8, { common: 7, extraA: 3, extraB: 3, size: [2000, 1000, 700], sigma: 0.05 });
    const result = await run(scene.a, scene.b);
    const metres = (list: Target[]): Target[] =>
      list.map((t) => ({
        name: t.name,
        position: [t.position[0] / 1000, t.position[1] / 1000, t.position[2] / 1000],
        sigma: t.sigma / 1000,
      }));
    const small = await run(metres(scene.a), metres(scene.b));
    const shift: Vec3 = [1e7, -1e7, 1e7];
    const far = await run(scene.a, move(scene.b, { rotation: [1, 0, 0, 0], translation: shift }));
    expect(small.pairs.map((p) => [p.a, p.b])).toEqual(result.pairs.map((p) => [p.a, p.b]));
    expect(far.pairs.map((p) => [p.a, p.b])).toEqual(result.pairs.map((p) => [p.a, p.b]));
    const pose = result.bFromA as Pose;
    for (let k = 0; k < 3; k++) {
      expect((small.bFromA as Pose).translation[k]! * 1000).toBeCloseTo(pose.translation[k]!, 6);
      expect((far.bFromA as Pose).translation[k]! - shift[k]!).toBeCloseTo(pose.translation[k]!, 5);
    }
  });
});

describe('constellations that mislead', () => {
  const rectangle: Vec3[] = [
    [0, 0, 0],
    [1000, 0, 0],
    [1000, 600, 0],
    [0, 600, 0],
  ];

  it('a rectangle fits four ways: refused, with the poses listed', async () => {
    const a = plain(rectangle);
    const result = await run(a, move(a, anyPose));
    expect(result).toMatchObject({ status: 'refused', reason: 'ambiguous', bFromA: null, margin: 0 });
    expect(result.rivals.length).toBe(4);
    expect(result.message).toContain('repeats itself');
    expect(result.remedy).toContain('breaks the regular layout');
    // One of the listed poses is the true one.
    const offs = result.rivals.map((r) => rotationAngle(compose(anyPose, invert(r.bFromA)).rotation));
    expect(Math.min(...offs)).toBeLessThan(1e-7);
  });

  it('a regular grid seen in part by each list is refused, whatever fits best', async () => {
    const grid = (from: number, to: number): Vec3[] => {
      const points: Vec3[] = [];
      for (let i = from; i < to; i++) for (let j = 0; j < 5; j++) points.push([100 * i, 100 * j, 0]);
      return points;
    };
    const result = await run(plain(grid(0, 8)), move(plain(grid(3, 11)), anyPose));
    expect(result).toMatchObject({ status: 'refused', reason: 'ambiguous' });
    expect(result.rivals.length).toBeGreaterThanOrEqual(2);
  });

  it('equal names settle a rectangle; names that only number the lists do not', async () => {
    const names = ['roof', 'door', 'step', 'hook'];
    const a = plain(rectangle, 0.05, names);
    const settled = await run(a, move([...a].reverse(), anyPose));
    expect(settled).toMatchObject({ status: 'matched', names: 'agree' });
    expect(settled.pairs.every((p) => p.nameA === p.nameB)).toBe(true);
    const numbers = ['1', '2', '3', '4'];
    const numbered = plain(rectangle, 0.05, numbers);
    const other = plain(
      [2, 0, 1, 3].map((i) => rectangle[i] as Vec3),
      0.05,
      numbers,
    );
    expect((await run(numbered, move(other, anyPose))).reason).toBe('ambiguous');
  });

  it('names that contradict the geometry are ignored; a few exchanged ones are named', async () => {
    const scene = makeScene(12, {
      common: 8,
      extraA: 2,
      extraB: 2,
      size: [2000, 1500, 900],
      sigma: 0.05,
      names: 'numbered',
    });
    const result = await run(scene.a, scene.b);
    expect(result.status).toBe('matched');
    expect(isRight(result, scene)).toBe(true);
    expect(result.names).toBe('ignored');
    const named = makeScene(13, {
      common: 8,
      extraA: 2,
      extraB: 2,
      size: [2000, 1500, 900],
      sigma: 0.05,
      names: 'equal',
    });
    const swapAt = named.partner.flatMap((k, i) => (k >= 0 ? [i] : [])).slice(0, 2) as [number, number];
    const [first, second] = swapAt;
    const a = named.a.map((t, i) =>
      i === first
        ? { ...t, name: (named.a[second] as Target).name }
        : i === second
          ? { ...t, name: (named.a[first] as Target).name }
          : t,
    );
    const partly = await run(a, named.b);
    expect(partly).toMatchObject({ status: 'matched', names: 'partly' });
    expect(isRight(partly, named)).toBe(true);
    expect(partly.nameConflicts.map((c) => c.a).sort()).toEqual([first, second].sort());
  });

  it('a mirrored list is refused by name', async () => {
    for (let seed = 1; seed <= 10; seed++) {
      const scene = makeScene(seed + 40, { common: 6, extraA: 2, extraB: 1, size: [2000, 1500, 900], sigma: 0.05 });
      const mirrored = scene.b.map((t): Target => ({ ...t, position: [-t.position[0], t.position[1], t.position[2]] }));
      const result = await run(scene.a, mirrored);
      expect(result).toMatchObject({ status: 'refused', reason: 'mirrored', bFromA: null });
      expect(result.remedy).toContain('left-handed');
    }
  });

  it('too few, collinear and doubled targets', async () => {
    expect((await run(plain(rectangle.slice(0, 2)), plain(rectangle))).reason).toBe('too-few-targets');
    expect((await run([], [])).reason).toBe('too-few-targets');
    const line = plain([0, 1, 3, 7, 12].map((x): Vec3 => [100 * x, 50 * x, 0]));
    expect((await run(line, move(line, anyPose))).reason).toBe('collinear');
    // The same targets measured twice in one list.
    const scene = makeScene(3, { common: 7, extraA: 0, extraB: 0, size: [2000, 1500, 900], sigma: 0.05 });
    const doubled = [
      ...scene.b,
      ...scene.b.map((t): Target => ({ ...t, position: [t.position[0] + 0.03, t.position[1], t.position[2] - 0.04] })),
    ];
    const result = await run(scene.a, doubled);
    expect(result.status).toBe('matched');
    expect(result.pairs.every((p) => scene.partner[p.a] === p.b % 7)).toBe(true);
  });

  it('three common targets are enough where chance is excluded', async () => {
    const three = plain([
      [0, 0, 0],
      [1000, 130, 0],
      [340, 800, 200],
    ]);
    const result = await run(three, move(three, anyPose));
    expect(result).toMatchObject({ status: 'matched', redundancy: 3 });
    expect(rotationAngle(compose(anyPose, invert(result.bFromA as Pose)).rotation)).toBeLessThan(1e-7);
    // Loose targets on a small object fit by chance: sigma of 20 mm on some 300 mm.
    const loose = makeScene(2, { common: 3, extraA: 5, extraB: 5, size: [300, 300, 300], sigma: 20 });
    expect((await run(loose.a, loose.b)).status).toBe('refused');
  });

  it('three of a ring laid out by hand are no evidence, whichever of them the lists hold', async () => {
    let wrong = 0;
    for (let seed = 1; seed <= 60; seed++) {
      const random = makeRandom(seed, 'hand-made ring');
      const count = 5 + (seed % 4);
      const ring = Array.from({ length: count }, (_, i): Vec3 => {
        const angle = (2 * Math.PI * i) / count;
        return [600 * Math.cos(angle) + random.normal(), 600 * Math.sin(angle) + random.normal(), random.normal()];
      });
      const inA = shuffle(
        ring.map((_, i) => i),
        random,
      ).slice(0, 3);
      const inB = shuffle(
        ring.map((_, i) => i),
        random,
      ).slice(0, 4);
      const result = await run(
        plain(
          inA.map((i) => ring[i] as Vec3),
          0.3,
        ),
        move(
          plain(
            inB.map((i) => ring[i] as Vec3),
            0.3,
          ),
          anyPose,
        ),
      );
      if (result.status === 'matched' && !result.pairs.every((p) => inA[p.a] === inB[p.b])) wrong++;
    }
    expect(wrong).toBe(0);
  });

  it('throws for broken targets', async () => {
    await expect(run(plain([[Number.NaN, 0, 0]]), plain(rectangle))).rejects.toThrow(RangeError);
    await expect(run(plain(rectangle, 0), plain(rectangle))).rejects.toThrow(RangeError);
  });
});
