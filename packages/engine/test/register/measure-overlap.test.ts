import { describe, expect, it } from 'vitest';
import { makeRandom, makeRunContext } from '../../src/base/index.ts';
import {
  IDENTITY_POSE,
  invert,
  type Pose,
  perturb,
  quaternionOfVector,
  transformPoint,
  type Vec3,
} from '../../src/math/index.ts';
import {
  findMovedParts,
  measureOverlap,
  overlapGaps,
  type PreparedScan,
  prepareScan,
  refinePose,
} from '../../src/register/index.ts';
import { movedShape, poseDistance, sampleBlob, scanOf } from './sampled-shapes.ts';

const frameFromWorld: Pose = { rotation: quaternionOfVector([0.4, 1.1, -0.6]), translation: [-250, 90, 400] };
const truth = invert(frameFromWorld);
const view: Vec3 = [0.3, 0.2, 0.93];

async function pair(noise = 0.06) {
  const context = makeRunContext();
  const viewpoint = { kind: 'direction', direction: view } as const;
  const turnedView = transformPoint({ rotation: frameFromWorld.rotation, translation: [0, 0, 0] }, view);
  const a = await prepareScan(
    scanOf(movedShape(sampleBlob('overlap a', 7000, view, noise), frameFromWorld).points, {
      viewpoint: { kind: 'direction', direction: turnedView },
    }),
    {},
    context,
  );
  const b = await prepareScan(scanOf(sampleBlob('overlap b', 8000, view, noise).points, { viewpoint }), {}, context);
  return { a, b, context };
}

/** Two scans of a plate, half a millimetre apart. */
async function plates(): Promise<{ readonly a: PreparedScan; readonly b: PreparedScan }> {
  const random = makeRandom(1, 'gap');
  const plate = (height: number): Vec3[] =>
    Array.from({ length: 5000 }, () => [
      200 * random.uniform(),
      200 * random.uniform(),
      height + 0.02 * random.normal(),
    ]);
  const up = { kind: 'direction', direction: [0, 0, 1] } as const;
  const prepare = (points: Vec3[]) => prepareScan(scanOf(points, { viewpoint: up }), {}, makeRunContext());
  return { a: await prepare(plate(0.5)), b: await prepare(plate(0)) };
}

describe('measureOverlap', () => {
  it('has the sum of squares that its quadratic form predicts for a small motion', async () => {
    const { a, b, context } = await pair();
    const plain = await measureOverlap(a, b, truth, {}, context);
    const { form } = plain;
    const steps = [
      [0.02, 0, 0, 0, 0, 0],
      [0, -0.02, 0.01, 0, 0, 0],
      [0, 0, 0, 2e-4, -1e-4, 3e-4],
    ];
    for (const step of steps) {
      // The weights and the matches move too, a little: compare the change of the robust mean square.
      const moved = await measureOverlap(a, b, perturb(truth, step, form.reference), {}, context);
      let predicted = form.squares;
      for (let i = 0; i < 6; i++) {
        predicted += 2 * step[i] * form.gradient[i];
        for (let j = 0; j < 6; j++) predicted += step[i] * form.information[6 * i + j] * step[j];
      }
      expect(moved.rms ** 2 / (predicted / form.weightSum)).toBeGreaterThan(0.9);
      expect(moved.rms ** 2 / (predicted / form.weightSum)).toBeLessThan(1.1);
    }
  });

  it('is the same seen from the other scan: inverse pose, other frame', async () => {
    const { a, b, context } = await pair();
    const bFromA = perturb(truth, [0.05, 0.02, -0.03, 1e-4, 0, 2e-4], [0, 0, 0]);
    const forward = await measureOverlap(a, b, bFromA, {}, context);
    const backward = await measureOverlap(b, a, invert(bFromA), {}, context);
    expect(backward.rms).toBeCloseTo(forward.rms, 10);
    expect(backward.shareOfA).toBe(forward.shareOfB);
    expect(backward.meanGap).toBeCloseTo(-forward.meanGap, 12);
    const carried = transformPoint(bFromA, backward.form.reference);
    carried.forEach((value, i) => {
      expect(value).toBeCloseTo(forward.form.reference[i], 6);
    });
    // The step that each form asks for is the same motion.
    const solve = (m: typeof forward): number[] => solveSix(m.form.information, m.form.gradient);
    const stepB = perturb(bFromA, solve(forward), forward.form.reference);
    const stepA = perturb(invert(bFromA), solve(backward), backward.form.reference);
    const points = Array.from(
      { length: 200 },
      (_, i): Vec3 => [
        a.origin[0] + a.positions[30 * i],
        a.origin[1] + a.positions[30 * i + 1],
        a.origin[2] + a.positions[30 * i + 2],
      ],
    );
    expect(poseDistance(stepB, bFromA, points)).toBeGreaterThan(0.01);
    // Left perturbations of a pose and of its inverse agree to first order.
    expect(poseDistance(stepB, invert(stepA), points)).toBeLessThan(1e-4);
    expect(poseDistance(stepB, truth, points)).toBeLessThan(0.03);
  });

  it('has patches whose sums give the form back', async () => {
    const { a, b, context } = await pair();
    for (const measured of [
      await measureOverlap(a, b, truth, {}, context),
      await measureOverlap(b, a, invert(truth), {}, context),
    ]) {
      const { patches, form } = measured;
      for (let i = 0; i < 6; i++) {
        let first = 0;
        for (let p = 0; p < patches.count; p++) first += patches.weights[p] * patches.jacobians[6 * p + i];
        let gradient = 0;
        for (let p = 0; p < patches.count; p++) {
          gradient += patches.weights[p] * patches.jacobians[6 * p + i] * patches.residuals[p];
        }
        expect(Number.isFinite(first)).toBe(true);
        // Means of a cell's Jacobians and residuals; what varies inside a cell is lost, some per cent of the noise.
        expect(Math.abs(gradient - form.gradient[i])).toBeLessThan(
          3 * measured.scale * Math.sqrt(form.information[7 * i]),
        );
      }
      const total = patches.weights.reduce((sum, value) => sum + value, 0);
      expect(total).toBeCloseTo(form.weightSum, 6);
      expect(patches.count).toBeLessThanOrEqual(150);
      expect(patches.count).toBeGreaterThan(50);
      expect(Math.max(...patches.spreads)).toBeLessThan(measured.form.radius);
    }
  });

  it('has patches that mean the same whichever scan comes first: the distance of A along the normal of B', async () => {
    const context = makeRunContext();
    const { a, b } = await plates();
    for (const [p, q, gap] of [
      [a, b, 0.5],
      [b, a, -0.5],
    ] as const) {
      const { patches } = await measureOverlap(p, q, IDENTITY_POSE, {}, context);
      expect(patches.residuals.reduce((sum, r) => sum + r, 0) / patches.count).toBeCloseTo(gap, 1);
      for (let k = 0; k < patches.count; k++) expect(patches.jacobians[6 * k + 2]).toBeGreaterThan(0.9);
    }
  });

  it('measures a known gap with its sign, and finds none without overlap', async () => {
    const context = makeRunContext();
    const { a, b } = await plates();
    expect((await measureOverlap(a, b, IDENTITY_POSE, {}, context)).meanGap).toBeCloseTo(0.5, 2);
    expect((await measureOverlap(b, a, IDENTITY_POSE, {}, context)).meanGap).toBeCloseTo(-0.5, 2);
    const { gaps } = await overlapGaps(a, b, IDENTITY_POSE, {}, context);
    const known = Array.from(gaps).filter((gap) => !Number.isNaN(gap));
    expect(known.length).toBeGreaterThan(4500);
    expect(known.reduce((sum, gap) => sum + gap, 0) / known.length).toBeCloseTo(0.5, 2);
    const away: Pose = { rotation: IDENTITY_POSE.rotation, translation: [1000, 0, 0] };
    const none = await measureOverlap(a, b, away, {}, context);
    expect(none.form.count).toBe(0);
    expect(none.shareOfA).toBe(0);
    expect(none.rms).toBe(0);
  });

  it('counts patches of the correlation length', async () => {
    const { a, b, context } = await pair();
    const fine = await measureOverlap(a, b, truth, { correlationLength: 5 }, context);
    const coarse = await measureOverlap(a, b, truth, { correlationLength: 40 }, context);
    // Cells on a surface: a fourth of the length would be sixteen times as many.
    expect(fine.effectiveCount / coarse.effectiveCount).toBeGreaterThan(20);
    expect(coarse.correlationLength).toBe(40);
  });
});

describe('findMovedParts', () => {
  const random = makeRandom(31, 'bench');
  const scene = (name: string, lid: Pose): { points: Vec3[]; lidCount: number } => {
    const body = sampleBlob(`${name} body`, 9000, [0, 0, 1], 0.05).points;
    const lidPoints = Array.from({ length: 3000 }, (): Vec3 => {
      const [x, y] = [80 * random.uniform() + 110, 80 * random.uniform() - 40];
      return transformPoint(lid, [x, y, 20 + 6 * Math.sin(x / 12) * Math.cos(y / 15) + 0.05 * random.normal()]);
    });
    return { points: [...body, ...lidPoints], lidCount: 3000 };
  };
  const lidMotion = perturb(IDENTITY_POSE, [0, 0, 1.5, 0, 0.05, 0], [110, 0, 20]);

  it('does not let a part that moved bend the rest, and finds how it moved', async () => {
    const context = makeRunContext();
    const before = scene('before', IDENTITY_POSE);
    const after = scene('after', lidMotion);
    const a = await prepareScan(scanOf(before.points), {}, context);
    const b = await prepareScan(scanOf(after.points), {}, context);
    const start = perturb(IDENTITY_POSE, [1, -1, 0.5, 0.01, 0, -0.01], [0, 0, 0]);
    const found = await refinePose(a, b, { start }, context);
    expect(found.status).toBe('converged');
    const bodyPoints = before.points.slice(0, 9000);
    expect(poseDistance(found.targetFromSource, IDENTITY_POSE, bodyPoints)).toBeLessThan(0.03);
    const parts = await findMovedParts(a, b, found.targetFromSource, {}, context);
    expect(parts.length).toBe(1);
    const [part] = parts;
    expect(part.share).toBeGreaterThan(0.15);
    expect(part.share).toBeLessThan(0.3);
    const lidPoints = before.points.slice(9000);
    expect(poseDistance(part.bFromA, lidMotion, lidPoints)).toBeLessThan(0.15);
    expect(part.angle).toBeCloseTo(0.05, 2);
  });

  it('finds none where nothing moved', async () => {
    const context = makeRunContext();
    const a = await prepareScan(scanOf(scene('one', IDENTITY_POSE).points), {}, context);
    const b = await prepareScan(scanOf(scene('two', IDENTITY_POSE).points), {}, context);
    expect(await findMovedParts(a, b, IDENTITY_POSE, {}, context)).toEqual([]);
  });
});

/** Minus the solution of H x = g by elimination with the largest pivot. */
function solveSix(h: ArrayLike<number>, g: ArrayLike<number>): number[] {
  const rows = Array.from({ length: 6 }, (_, i) => [
    ...Array.from({ length: 6 }, (_, j) => h[6 * i + j] as number),
    -(g[i] as number),
  ]);
  for (let c = 0; c < 6; c++) {
    const best = rows.slice(c).reduce((p, row, k) => (Math.abs(row[c]) > Math.abs(rows[p][c]) ? c + k : p), c);
    [rows[c], rows[best]] = [rows[best], rows[c]];
    for (let r = 0; r < 6; r++) {
      if (r === c) continue;
      const f = rows[r][c] / rows[c][c];
      for (let k = c; k < 7; k++) rows[r][k] -= f * rows[c][k];
    }
  }
  return rows.map((row, i) => row[6] / row[i]);
}
