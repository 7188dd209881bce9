import {
  alignPickedPairs,
  makeRandom,
  type PointPair,
  type Pose,
  quaternionOfVector,
  rotationMatrix,
  transformPoint,
  type Vec3,
} from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';

const truth: Pose = { rotation: quaternionOfVector([0.3, -2, 1]), translation: [3000, -1000, 400] };
const corners: Vec3[] = [
  [0, 0, 0],
  [2000, 30, 0],
  [1900, 1200, 100],
  [50, 1100, 900],
  [1000, 600, 1300],
];

function pairsOf(points: readonly Vec3[], noise: number, sigma: number, seed = 1): PointPair[] {
  const random = makeRandom(seed, 'picked');
  return points.map((a) => {
    const p = transformPoint(truth, a);
    const b: Vec3 = [p[0] + noise * random.normal(), p[1] + noise * random.normal(), p[2] + noise * random.normal()];
    return { a, b, sigma };
  });
}

const determinant = (m: readonly number[]): number =>
  m[0]! * (m[4]! * m[8]! - m[5]! * m[7]!) -
  m[1]! * (m[3]! * m[8]! - m[5]! * m[6]!) +
  m[2]! * (m[3]! * m[7]! - m[4]! * m[6]!);

describe('picked pairs', () => {
  it('three rough pairs give the pose within its own stated uncertainty', () => {
    let inside = 0;
    const trials = 400;
    for (let seed = 1; seed <= trials; seed++) {
      const result = alignPickedPairs(pairsOf(corners.slice(0, 3), 5, 5, seed));
      expect(result.status).toBe('aligned');
      expect(result.redundancy).toBe(3);
      const at = result.reference as Vec3;
      // Where the truth puts the point that the estimate puts at the reference.
      const estimated = result.bFromA as Pose;
      const q = estimated.rotation;
      const back = transformPoint({ rotation: [q[0], -q[1], -q[2], -q[3]], translation: [0, 0, 0] }, [
        at[0] - estimated.translation[0],
        at[1] - estimated.translation[1],
        at[2] - estimated.translation[2],
      ]);
      const d = transformPoint(truth, back)[0] - at[0];
      if (Math.abs(d) < 2 * Math.sqrt(result.covariance?.[0] as number)) inside++;
    }
    // 95.4 % when nothing is enlarged; enlarging by a variance factor above one adds some: a band of 4 standard deviations.
    expect(inside / trials).toBeGreaterThan(0.954 - 4 * Math.sqrt((0.954 * 0.046) / trials));
  });

  it('refuses fewer than three, collinear and nearly collinear ones, and says what would cure it', () => {
    const two = alignPickedPairs(pairsOf(corners.slice(0, 2), 0, 5));
    expect(two).toMatchObject({ status: 'refused', reason: 'too-few-pairs', bFromA: null });
    expect(two.remedy).toContain('not on one line');
    expect(alignPickedPairs([]).reason).toBe('too-few-pairs');
    const line: Vec3[] = [
      [0, 0, 0],
      [100, 200, 300],
      [200, 400, 600],
      [400, 800, 1200],
    ];
    const collinear = alignPickedPairs(pairsOf(line, 0, 5));
    expect(collinear).toMatchObject({ status: 'refused', reason: 'collinear', layout: 'line', covariance: null });
    expect(collinear.remedy).toContain('to the side of the line');
    const bent = line.map((p, i): Vec3 => [p[0] + (i % 2) * 9, p[1] - 5 * i * i, p[2]]);
    const rough = alignPickedPairs(pairsOf(bent, 4, 5, 3));
    expect(rough).toMatchObject({ status: 'refused', reason: 'nearly-collinear' });
    const place = alignPickedPairs(pairsOf([corners[1]!, corners[1]!, corners[1]!], 0, 5));
    expect(place).toMatchObject({ status: 'refused', reason: 'collinear', layout: 'point' });
  });

  it('never returns a mirror: coplanar, noisy and nearly opposite points give determinant +1, mirrored ones a refusal by name', () => {
    for (let seed = 1; seed <= 50; seed++) {
      const flat = corners.map(([x, y]): Vec3 => [x, y, 0]);
      const result = alignPickedPairs(pairsOf(flat, 4, 5, seed));
      expect(result.status).toBe('aligned');
      expect(determinant(rotationMatrix((result.bFromA as Pose).rotation))).toBeCloseTo(1, 12);
      const mirrored = pairsOf(corners, 4, 5, seed).map((p): PointPair => ({ ...p, a: [p.a[0], p.a[1], -p.a[2]] }));
      const refused = alignPickedPairs(mirrored);
      expect(refused).toMatchObject({ status: 'refused', reason: 'mirrored', bFromA: null });
    }
  });

  it('names a wrong pair, and says so when it cannot tell which', () => {
    const pairs = pairsOf([...corners, [2100, 500, 700]], 2, 5);
    const spoiled = pairs.map((p, i): PointPair => (i === 3 ? { ...p, b: [p.b[0] + 120, p.b[1], p.b[2]] } : p));
    const result = alignPickedPairs(spoiled);
    expect(result.status).toBe('aligned');
    expect(result.pairs.map((p) => p.isSuspect)).toEqual([false, false, false, true, false, false]);
    expect(result.warnings[0]).toMatchObject({ code: 'picked-pairs-disagree', severity: 'warning' });
    expect(result.warnings[0]?.message).toContain('Pair 4 stands out');
    expect(result.varianceFactor).toBeGreaterThan(5);
    // Three pairs are checked only along their sides: the three residuals lie in one plane.
    const three = pairsOf(corners.slice(0, 3), 0, 5).map(
      (p, i): PointPair => (i === 0 ? { ...p, a: [p.a[0] - 150, p.a[1], p.a[2]] } : p),
    );
    const thin = alignPickedPairs(three);
    expect(thin.warnings[0]?.message).toMatch(/stand|cannot tell/);
    expect(thin.pairs.every((p) => p.pointTest === null)).toBe(true);
  });

  it('refuses pairs that do not fit each other at all', () => {
    const random = makeRandom(4, 'unrelated');
    const anywhere = (): Vec3 => [random.normal() * 700, random.normal() * 700, random.normal() * 700];
    let refused = 0;
    for (let i = 0; i < 50; i++) {
      const pairs = Array.from({ length: 5 }, () => ({ a: anywhere(), b: anywhere(), sigma: 5 }));
      if (alignPickedPairs(pairs).status === 'refused') refused++;
    }
    expect(refused).toBe(50);
  });

  it('notices different units and names them', () => {
    const pairs = pairsOf(corners, 1, 5);
    const metres = pairs.map((p): PointPair => ({ ...p, b: [p.b[0] / 1000, p.b[1] / 1000, p.b[2] / 1000] }));
    const result = alignPickedPairs(metres);
    expect(result).toMatchObject({ status: 'refused', reason: 'different-size' });
    expect(result.message).toContain('in m and read as mm');
    const inches = pairs.map((p): PointPair => ({ ...p, b: [p.b[0] * 25.4, p.b[1] * 25.4, p.b[2] * 25.4] }));
    expect(alignPickedPairs(inches).message).toContain('in mm and read as in');
  });

  it('gives the inverse with the roles swapped, and the same far from the origin', () => {
    const pairs = pairsOf(corners, 3, 5);
    const there = alignPickedPairs(pairs).bFromA as Pose;
    const back = alignPickedPairs(pairs.map((p) => ({ a: p.b, b: p.a, sigma: p.sigma }))).bFromA as Pose;
    const far = alignPickedPairs(pairs.map((p): PointPair => ({ ...p, b: [p.b[0] + 1e7, p.b[1] + 1e7, p.b[2] - 1e7] })))
      .bFromA as Pose;
    for (const p of corners) {
      const q = transformPoint(back, transformPoint(there, p));
      const f = transformPoint(far, p);
      const n = transformPoint(there, p);
      for (let k = 0; k < 3; k++) {
        expect(Math.abs(q[k]! - p[k]!)).toBeLessThan(1e-8);
        expect(Math.abs(f[k]! - [1e7, 1e7, -1e7][k]! - n[k]!)).toBeLessThan(2e-8);
      }
    }
  });

  it('throws for what is no pair', () => {
    expect(() => alignPickedPairs(pairsOf(corners, 0, 0))).toThrow(RangeError);
    const broken = pairsOf(corners, 0, 5).map((p, i): PointPair => (i === 1 ? { ...p, a: [Number.NaN, 0, 0] } : p));
    expect(() => alignPickedPairs(broken)).toThrow(RangeError);
  });
});
