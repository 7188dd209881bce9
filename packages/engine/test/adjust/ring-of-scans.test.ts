import {
  adjustAndNameSuspects,
  compose,
  invert,
  makeRandom,
  makeRunContext,
  type OverlapObservation,
  type Pose,
  perturb,
  rotationAngle,
} from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';
import { makeOverlap, randomPose } from './network-scene.ts';

/** Eight scans around an object; each overlaps its two nearest neighbours on either side. One edge is wrong by a degree. */
function makeRing(bad: string | null, chords: boolean) {
  const random = makeRandom(36, 'ring of scans');
  const names = Array.from({ length: 8 }, (_, i) => `scan-${i}`);
  const poses = new Map(names.map((n): [string, Pose] => [n, randomPose(random, 1500)]));
  const overlaps: OverlapObservation[] = [];
  for (const step of chords ? [1, 2] : [1]) {
    names.forEach((frameA, i) => {
      const frameB = names[(i + step) % 8]!;
      const tie = `${frameA} ${frameB}`;
      const angle = ((i + step / 2) * Math.PI) / 4;
      const overlap = makeOverlap(random, {
        tie,
        frameA,
        frameB,
        jobFromA: poses.get(frameA)!,
        jobFromB: poses.get(frameB)!,
        centre: [900 * Math.cos(angle), 900 * Math.sin(angle), 0],
        size: 400,
        sigma: 0.05,
      });
      const wrong = perturb(overlap.bFromA0, [3, 0, 0, 0, 0, Math.PI / 180], overlap.reference);
      overlaps.push(tie === bad ? { ...overlap, bFromA0: wrong } : overlap);
    });
  }
  return { names, poses, overlaps };
}

describe('a ring of eight scans with one wrong edge (field report 36)', () => {
  it('the wrong edge is named, the closures list it, and without it every good edge is kept', async () => {
    const bad = 'scan-2 scan-3';
    const { names, poses, overlaps } = makeRing(bad, true);
    const context = makeRunContext();
    const { adjustment, suspects } = await adjustAndNameSuspects(overlaps, { leaveOut: true }, context);
    expect(suspects.map((s) => s.ties)).toEqual([[bad]]);
    expect(context.findings.items.some((f) => f.code === 'tie-stands-out' && f.message.includes(bad))).toBe(true);
    for (const t of adjustment.ties) {
      expect(t.test!.verdict).toBe(t.id === bad ? 'stands-out' : 'agrees');
      expect(t.status).toBe(t.id === bad ? 'rejected' : 'used');
    }
    // Every relative pose as the truth has it, within a few of the uncertainties of such overlaps.
    const poseOf = (f: string): Pose => adjustment.frames.find((p) => p.frame === f)!.jobFromFrame!;
    for (let i = 0; i < 8; i++) {
      const [a, b] = [names[i]!, names[(i + 1) % 8]!];
      const found = compose(invert(poseOf(b)), poseOf(a));
      const truth = compose(invert(poses.get(b)!), poses.get(a)!);
      expect(rotationAngle(compose(found, invert(truth)).rotation)).toBeLessThan(5e-4);
    }
    const all = await adjustAndNameSuspects(overlaps, {}, makeRunContext());
    const closures = all.adjustment.closures;
    const worst = closures.filter((c) => c.angle > 0.01);
    expect(worst.length).toBeGreaterThan(0);
    for (const c of worst) expect(c.ties).toContain(bad);
    for (const c of closures) if (!c.ties.includes(bad)) expect(c.angle).toBeLessThan(1e-3);
    // Named, not dropped: it still counts.
    expect(all.adjustment.ties.find((t) => t.id === bad)!.status).toBe('used');
    expect(all.suspects.length).toBe(1);
  });

  it('a ring without chords says that it cannot tell which of the eight', async () => {
    const { overlaps } = makeRing('scan-2 scan-3', false);
    const { adjustment, suspects } = await adjustAndNameSuspects(overlaps, {}, makeRunContext());
    expect(suspects.length).toBe(1);
    expect(suspects[0]!.words.length).toBe(8);
    for (const t of adjustment.ties) expect(t.test!).toMatchObject({ verdict: 'cannot-tell' });
    expect(adjustment.closures.length).toBe(1);
    expect(adjustment.closures[0]!.angle).toBeGreaterThan(0.015);
  });

  it('two wrong edges are both named, and nobody else', async () => {
    const { overlaps } = makeRing('scan-2 scan-3', true);
    const second = 'scan-6 scan-0';
    const both = overlaps.map((o) =>
      o.tie === second ? { ...o, bFromA0: perturb(o.bFromA0, [0, 0, 4, 0.004, 0, 0], o.reference) } : o,
    );
    const context = makeRunContext();
    const { adjustment, suspects } = await adjustAndNameSuspects(both, { leaveOut: true }, context);
    expect(suspects.flatMap((s) => s.ties).sort()).toEqual(['scan-2 scan-3', second]);
    expect(suspects.every((s) => s.words.length === 1)).toBe(true);
    expect(context.findings.items.filter((f) => f.code === 'tie-stands-out').length).toBe(2);
    expect(adjustment.ties.filter((t) => t.test!.verdict !== 'agrees').length).toBe(2);
    expect(adjustment.globalTest!.probability).toBeGreaterThan(0.001);
  });

  it('when all sigmas are too small nobody is blamed for it, but a wrong edge still is', async () => {
    const tight = (bad: string | null): OverlapObservation[] =>
      makeRing(bad, true).overlaps.map((o) => ({
        ...o,
        weighed: {
          // Twice too sure: four times the information of sigma 0.05.
          information: Array.from({ length: 49 }, (_, e) => {
            const [i, j] = [Math.floor(e / 7), e % 7];
            return i < 6 && j < 6 ? (4 * o.information[6 * i + j]!) / 0.05 ** 2 : 0;
          }),
          gradient: [...o.gradient.map((g) => (4 * g) / 0.05 ** 2), 0],
          sumSquares: (4 * o.sumSquares) / 0.05 ** 2,
          patchCount: o.count,
        },
      }));
    const context = makeRunContext();
    const good = await adjustAndNameSuspects(tight(null), {}, context);
    expect(good.suspects).toEqual([]);
    expect(good.adjustment.ties.every((t) => t.test!.verdict === 'agrees')).toBe(true);
    expect(context.findings.items.map((f) => f.code)).toEqual(['network-misfit']);
    const wrong = await adjustAndNameSuspects(tight('scan-2 scan-3'), {}, makeRunContext());
    expect(wrong.suspects.map((s) => s.ties)).toEqual([['scan-2 scan-3']]);
  });
});
