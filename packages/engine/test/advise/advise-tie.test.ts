import {
  type AdviseInput,
  adjustNetwork,
  adviseTie,
  type InstrumentErrors,
  type JointCovariance,
  makeRandom,
  makeRunContext,
  type NetworkAdjustment,
  type OverlapObservation,
  symmetricEigen,
  transformPoint,
  type Vec3,
} from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';
import { presentMotion } from '../../src/advise/added-tie.ts';
import { placeUncertainty } from '../../src/advise/frame-motion.ts';
import { openJointCovariance } from '../../src/advise/joint-state.ts';
import { boxFrame, boxMesh, HALF, jointOf } from './cabin-scene.ts';
import { simulateOverlap } from './simulated-overlap.ts';

const ERRORS: InstrumentErrors = {
  instrument: 'scanner',
  white: 0.03,
  fields: [
    { sigma: 0.02, length: 30 },
    { sigma: 0.02, length: 150 },
  ],
  overlapCount: 1,
  patchCount: 100,
};
/** A corner at the front sill, where the door lets inside and outside see the same surface; it holds all six directions. */
const DOOR: Vec3 = [-1200, -600, -500];
const door = simulateOverlap('door', HALF, DOOR, 180, 25, ERRORS, 0.5);
const OUTER = [1203, 603, 503] as const;
const outside = boxFrame('outside', 100, OUTER, 1);
const inside = boxFrame('inside', 100, HALF, -1);

const adjust = (observations: readonly OverlapObservation[]): Promise<NetworkAdjustment> =>
  adjustNetwork(
    observations,
    {
      datum: { kind: 'fixed-frame', frame: 'outside' },
      frames: ['outside', 'inside'].map((frame) => ({ frame, centre: [0, 0, 0], radius: 1000 })),
      enlarge: 'never',
    },
    makeRunContext(),
  );

const inputOf = (covariance: JointCovariance): AdviseInput => ({
  covariance,
  estimatedTerms: [],
  datum: 'outside',
  frames: [outside, inside],
  ties: [{ id: 'door', frameA: 'outside', frameB: 'inside', place: DOOR }],
  errors: [ERRORS],
  targetSigma: 0.03,
  options: {},
});

/** Expanded uncertainty (k = 2, largest direction) of a place from many simulated answers. */
async function scatterAt(place: Vec3, draws: number, made: (trial: number) => OverlapObservation[]): Promise<number> {
  const sums = new Float64Array(9);
  for (let trial = 0; trial < draws; trial++) {
    const { frames } = await adjust(made(trial));
    const pose = frames.find((f) => f.frame === 'inside')?.jobFromFrame;
    if (!pose) throw new Error('not placed');
    const moved = transformPoint(pose, place).map((v, k) => v - place[k]);
    for (let i = 0; i < 3; i++)
      for (let j = 0; j < 3; j++) sums[3 * i + j] += (moved[i] as number) * (moved[j] as number);
  }
  return 2 * Math.sqrt((symmetricEigen(sums, 3).values[2] as number) / draws);
}

describe('a cabin tied at its door only', () => {
  it('swings at its far end; the advice goes there, and simulation agrees with what it predicts', async () => {
    const random = makeRandom(5, 'advise/door');
    const network = await adjust([door.draw(random)]);
    const advice = adviseTie(inputOf(jointOf(network)));
    const worst = advice.worst;
    if (worst === null) throw new Error('no worst place');
    expect(worst.frame).toBe('inside');
    expect(worst.place[0]).toBeGreaterThan(1000);
    expect(worst.words).toContain('+X');
    expect(worst.distanceFromTie).toBeGreaterThan(2400);
    const best = advice.candidates[0];
    if (best === undefined) throw new Error('no candidate');
    // The far half of the cabin, away from the door.
    for (const candidate of advice.candidates.slice(0, 3)) expect(candidate.place[0]).toBeGreaterThan(600);
    expect(best.after.total).toBeLessThan(best.before.total / 3);
    expect(best.largestAfter).toBeGreaterThanOrEqual(best.after.total * (1 - 1e-12));

    const now = await scatterAt(worst.place, 200, (trial) => [door.draw(makeRandom(trial, 'advise/now'))]);
    expect(Math.abs(now / worst.uncertainty.total - 1)).toBeLessThan(0.2);

    const overlap = advice.candidates.find((c) => c.kind === 'overlap');
    if (overlap === undefined) throw new Error('no overlap advised');
    const added = simulateOverlap(
      'added',
      overlap.frameA === 'inside' ? HALF : OUTER,
      overlap.place,
      overlap.radius ?? 0,
      20,
      ERRORS,
      0.5,
    );
    const then = await scatterAt(worst.place, 200, (trial) => {
      const stream = makeRandom(trial, 'advise/then');
      return [door.draw(stream), added.draw(stream)];
    });
    expect(Math.abs(then / overlap.after.total - 1)).toBeLessThan(0.2);
  });

  it('finds no better place by looking at all samples one by one', async () => {
    const network = await adjust([door.draw(makeRandom(5, 'advise/door'))]);
    const input = inputOf(jointOf(network));
    const { worst } = adviseTie(input);
    const motion = presentMotion(openJointCovariance(input.covariance, []), 0);
    let largest = 0;
    for (let i = 0; i < inside.places.length; i += 3)
      largest = Math.max(
        largest,
        placeUncertainty(motion, [inside.places[i], inside.places[i + 1], inside.places[i + 2]]).total,
      );
    expect(worst?.uncertainty.total).toBeCloseTo(largest, 12);
  });

  it('says the same with the origin far away and with the frames the other way round', async () => {
    const network = await adjust([door.draw(makeRandom(5, 'advise/door'))]);
    const input = inputOf(jointOf(network));
    const plain = adviseTie(input);
    const shift: Vec3 = [1e7, -1e7, 1e7];
    const move = (p: Vec3): Vec3 => [p[0] + shift[0], p[1] + shift[1], p[2] + shift[2]];
    const moved = adviseTie({
      ...input,
      covariance: {
        ...input.covariance,
        frames: input.covariance.frames.map((f) => ({ ...f, reference: move(f.reference) })),
      },
      frames: [boxFrame('outside', 100, OUTER, 1, shift), boxFrame('inside', 100, HALF, -1, shift)],
      ties: input.ties.map((t) => ({ ...t, place: move(t.place) })),
    });
    expect(moved.candidates.length).toBe(plain.candidates.length);
    moved.candidates.forEach((c, i) => {
      expect(c.kind).toBe(plain.candidates[i]?.kind);
      expect(c.after.total / (plain.candidates[i]?.after.total ?? 0)).toBeCloseTo(1, 6);
    });
    const swapped = adviseTie({ ...input, frames: [inside, outside] });
    expect(swapped.candidates[0]?.after.total).toBeCloseTo(plain.candidates[0]?.after.total ?? 0, 9);
    expect(adviseTie(input)).toEqual(plain);
  });

  it('keeps what no tie lowers, and says so', async () => {
    const network = await adjust([door.draw(makeRandom(5, 'advise/door'))]);
    const plain = jointOf(network);
    // 100 ppm of length: 0.2 mm and more at the far end, whatever ties it. Its covariance with the pose: the door holds.
    const sigma = 1e-4;
    const gain = [0, 0, 0, 0, 0, 0];
    for (let k = 0; k < 3; k++) gain[k] = DOOR[k] as number;
    const matrix = new Float64Array(49);
    for (let i = 0; i < 7; i++) {
      for (let j = 0; j < 7; j++) {
        const g = [...gain, 1];
        const own = i < 6 && j < 6 ? (plain.matrix[6 * i + j] as number) : 0;
        matrix[7 * i + j] = own + (g[i] as number) * (g[j] as number) * sigma ** 2;
      }
    }
    const advice = adviseTie(inputOf({ ...plain, terms: [{ name: 'length of inside', coefficients: [1] }], matrix }));
    const best = advice.candidates[0];
    if (best === undefined || advice.worst === null) throw new Error('no advice');
    expect(advice.worst.uncertainty.scale).toBeGreaterThan(0.3);
    expect(advice.worst.uncertainty.total).toBeGreaterThan(advice.worst.uncertainty.ties);
    expect(best.largestAfter).toBeGreaterThan(0.1);
    expect(advice.remark).toContain('scale and temperature');
  });

  it('advises nothing through a closed wall, and finds the window', async () => {
    const network = await adjust([door.draw(makeRandom(5, 'advise/door'))]);
    const input = inputOf(jointOf(network));
    const within = (window: number) =>
      adviseTie({ ...input, surfaces: [boxMesh(OUTER, 1, window), boxMesh(HALF, -1, window)] });
    const closed = within(0);
    expect(closed.worst).toEqual(adviseTie(input).worst);
    expect(closed.candidates).toEqual([]);
    expect(closed.remark).toContain('that both can see');
    const open = within(300);
    expect(open.candidates.length).toBeGreaterThan(2);
    // A step and an arm from the window.
    for (const { place } of open.candidates) expect(place[0]).toBeGreaterThan(-300);
    for (const { remark } of open.candidates) expect(remark).not.toContain('wall');
  });

  it('has nothing to advise for one frame, or frames that never come near each other', () => {
    const empty: JointCovariance = { frames: [], terms: [], matrix: new Float64Array(0) };
    const alone = adviseTie({ ...inputOf(empty), frames: [outside] });
    expect(alone.worst).toBeNull();
    expect(alone.remark).toContain('Fewer than two');
    const far = boxFrame('inside', 100, HALF, -1, [9000, 0, 0]);
    const matrix = Float64Array.from({ length: 36 }, (_, k) => (k % 7 === 0 ? (k < 21 ? 1e-4 : 1e-9) : 0));
    const apart = adviseTie({
      ...inputOf({ frames: [{ frame: 'inside', reference: [9000, 0, 0] }], terms: [], matrix }),
      frames: [outside, far],
    });
    expect(apart.worst?.frame).toBe('inside');
    expect(apart.candidates).toEqual([]);
    expect(apart.remark).toContain('400 mm');
  });
});
