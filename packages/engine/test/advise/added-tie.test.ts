import {
  adjustNetwork,
  type JointCovariance,
  makeRandom,
  makeRunContext,
  type NetworkObservation,
  type OverlapObservation,
  type Vec3,
} from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';
import { addTie } from '../../src/advise/added-tie.ts';
import { type MotionCovariance, placeUncertainty } from '../../src/advise/frame-motion.ts';
import { openJointCovariance } from '../../src/advise/joint-state.ts';
import { bridgeTie, differenceTie, targetTie } from '../../src/advise/tie-candidates.ts';
import { jointOf } from './cabin-scene.ts';

const SIGMA = 0.05;

/** Three frames that agree already (all poses identity), tied by targets in a chain; far from isotropic. */
function chain(): NetworkObservation[] {
  const random = makeRandom(3, 'advise/chain');
  const observations: NetworkObservation[] = [];
  const link = (tie: string, frames: readonly string[], middle: Vec3): void => {
    for (let i = 0; i < 5; i++) {
      const position = middle.map((m) => m + 150 * random.normal()) as unknown as Vec3;
      for (const frame of frames)
        observations.push({
          kind: 'target',
          tie,
          frame,
          target: `${tie}${i}`,
          position,
          covariance: [SIGMA ** 2, 0, 0, 0, SIGMA ** 2, 0, 0, 0, SIGMA ** 2],
        });
    }
  };
  link('door', ['outside', 'inside'], [-1000, 0, 0]);
  link('hatch', ['inside', 'roof'], [300, 200, 400]);
  return observations;
}

const options = { datum: { kind: 'fixed-frame' as const, frame: 'outside' }, enlarge: 'never' as const };
const context = () => makeRunContext();

/** A form of six numbers about `reference` as an overlap: full rank, made of random rows. */
function form(name: string): { readonly six: number[]; readonly seven: Float64Array } {
  const random = makeRandom(9, name);
  const seven = new Float64Array(49);
  for (let k = 0; k < 9; k++) {
    const row = [0, 1, 2, 3, 4, 5, 6].map((i) => random.normal() * (i < 3 ? 20 : 1500));
    for (let i = 0; i < 7; i++) for (let j = 0; j < 7; j++) seven[7 * i + j] += (row[i] as number) * (row[j] as number);
  }
  const six = Array.from({ length: 36 }, (_, k) => seven[7 * Math.floor(k / 6) + (k % 6)] as number);
  return { six, seven };
}

function overlap(
  tie: string,
  frameA: string,
  frameB: string,
  reference: Vec3,
  information: number[],
): OverlapObservation {
  return {
    kind: 'overlap',
    tie,
    frameA,
    frameB,
    scanA: null,
    scanB: null,
    bFromA0: { rotation: [1, 0, 0, 0], translation: [0, 0, 0] },
    reference,
    information,
    gradient: [0, 0, 0, 0, 0, 0],
    sumSquares: 0,
    count: 1,
    effectiveCount: 1,
    sigma: 1,
    largest: 0,
    overlapShare: 0.1,
    weakDirections: [],
    weighed: null,
  };
}

/** Same uncertainty at places far apart: covariances agree whatever their reference. */
function expectSameMotion(a: MotionCovariance, b: MotionCovariance): void {
  for (const place of [
    [1200, 600, 500],
    [-1200, 0, 300],
    [0, -700, 10],
  ] as const) {
    const [x, y] = [placeUncertainty(a, place), placeUncertainty(b, place)];
    expect(Math.abs(x.total / y.total - 1)).toBeLessThan(1e-9);
  }
}

describe('addTie agrees with the network adjusted again', () => {
  it('for a target, in every frame', async () => {
    const before = await adjustNetwork(chain(), options, context());
    const place: Vec3 = [1150, 100, -300];
    const sightings = ['outside', 'roof'].map(
      (frame): NetworkObservation => ({
        kind: 'target',
        tie: 'added',
        frame,
        target: 'added',
        position: place,
        covariance: [SIGMA ** 2, 0, 0, 0, SIGMA ** 2, 0, 0, 0, SIGMA ** 2],
      }),
    );
    const again = await adjustNetwork([...chain(), ...sightings], options, context());
    const state = openJointCovariance(jointOf(before), []);
    const effect = addTie(state, targetTie(-1, state.frames.indexOf('roof'), place, SIGMA));
    const expected = openJointCovariance(jointOf(again), []);
    for (const frame of ['inside', 'roof']) {
      const i = state.frames.indexOf(frame);
      const j = expected.frames.indexOf(frame);
      expectSameMotion(effect.motionOf(i), {
        reference: expected.references[j] as Vec3,
        ties: expected.between(j, j),
        scale: new Float64Array(49),
      });
    }
    // The target is far from the chain's ties: it must have done something.
    const old = placeUncertainty(addTieOfNothing(state), place).total;
    expect(placeUncertainty(effect.motionOf(state.frames.indexOf('roof')), place).total).toBeLessThan(old / 2);
    function addTieOfNothing(s: typeof state): MotionCovariance {
      const i = s.frames.indexOf('roof');
      return { reference: s.references[i] as Vec3, ties: s.between(i, i), scale: new Float64Array(49) };
    }
  });

  it('for an overlap between two frames that both move', async () => {
    const before = await adjustNetwork(chain(), options, context());
    const place: Vec3 = [900, -500, 200];
    const { six, seven } = form('overlap');
    const again = await adjustNetwork([...chain(), overlap('added', 'inside', 'roof', place, six)], options, context());
    const state = openJointCovariance(jointOf(before), []);
    const expected = openJointCovariance(jointOf(again), []);
    const effect = addTie(
      state,
      differenceTie(state.frames.indexOf('inside'), state.frames.indexOf('roof'), place, seven),
    );
    for (const frame of ['inside', 'roof']) {
      const j = expected.frames.indexOf(frame);
      expectSameMotion(effect.motionOf(state.frames.indexOf(frame)), {
        reference: expected.references[j] as Vec3,
        ties: expected.between(j, j),
        scale: new Float64Array(49),
      });
    }
  });

  it('for a new scan that joins two frames, with its own pose unknown', async () => {
    const before = await adjustNetwork(chain(), options, context());
    const [place, placeB]: [Vec3, Vec3] = [
      [900, -500, 200],
      [1100, -300, 350],
    ];
    const [first, second] = [form('first'), form('second')];
    const added = [
      overlap('first', 'outside', 'new', place, first.six),
      overlap('second', 'new', 'roof', placeB, second.six),
    ];
    const again = await adjustNetwork([...chain(), ...added], options, context());
    const state = openJointCovariance(jointOf(before), []);
    const expected = openJointCovariance(jointOf(again), []);
    const effect = addTie(state, bridgeTie(-1, state.frames.indexOf('roof'), place, placeB, first.seven, second.seven));
    for (const frame of ['inside', 'roof']) {
      const j = expected.frames.indexOf(frame);
      expectSameMotion(effect.motionOf(state.frames.indexOf(frame)), {
        reference: expected.references[j] as Vec3,
        ties: expected.between(j, j),
        scale: new Float64Array(49),
      });
    }
  });
});

describe('addTie with an error of length', () => {
  // One frame of six numbers against the datum, one length term; batch least squares written out, no update formula.
  const random = makeRandom(21, 'advise/terms');
  const reference: Vec3 = [100, 50, -20];
  const sigma = 3e-5;
  const rowAbout = (p: Vec3, n: Vec3): number[] => {
    const a = p.map((v, k) => v - reference[k]) as unknown as Vec3;
    return [
      ...n,
      a[1] * n[2] - a[2] * n[1],
      a[2] * n[0] - a[0] * n[2],
      a[0] * n[1] - a[1] * n[0],
      -(n[0] * a[0] + n[1] * a[1] + n[2] * a[2]),
    ];
  };
  const unit = (): Vec3 => {
    const v = [random.normal(), random.normal(), random.normal()];
    const length = Math.hypot(...v);
    return v.map((x) => x / length) as unknown as Vec3;
  };
  const rows = Array.from({ length: 12 }, () =>
    rowAbout([-900 + 200 * random.uniform(), 200 * random.uniform(), 200 * random.uniform()], unit()).map(
      (v) => v / 0.02,
    ),
  );
  const place: Vec3 = [1200, 100, 0];
  const targetRows = [0, 1, 2].map((k) =>
    rowAbout(place, [0, 1, 2].map((i) => (i === k ? 1 : 0)) as unknown as Vec3).map((v) => v / (Math.SQRT2 * 0.03)),
  );

  /** Covariance of the seven numbers by Gauss-Jordan on the normal equations. */
  function batch(all: readonly (readonly number[])[], estimated: boolean): number[][] {
    const n = estimated ? 7 : 6;
    const normal = Array.from({ length: n }, (_, i) =>
      Array.from({ length: n }, (_, j) => all.reduce((s, r) => s + (r[i] as number) * (r[j] as number), 0)),
    );
    if (estimated) (normal[6] as number[])[6] = ((normal[6] as number[])[6] as number) + 1 / sigma ** 2;
    const inverse = inverted(normal);
    if (estimated) return inverse;
    // x = -N^-1 A^T a e: what the length error does to the answer; x is the error of the state.
    const gain = inverse.map(
      (r) => -r.reduce((s, v, j) => s + v * all.reduce((t, q) => t + (q[j] as number) * (q[6] as number), 0), 0),
    );
    const full = [...gain, 1];
    return full.map((g, i) => full.map((h, j) => g * h * sigma ** 2 + (inverse[i]?.[j] ?? 0)));
  }
  function inverted(m: number[][]): number[][] {
    const n = m.length;
    const scale = m.map((r, i) => 1 / Math.sqrt(r[i] as number));
    const a = m.map((r, i) => [
      ...r.map((v, j) => v * (scale[i] as number) * (scale[j] as number)),
      ...r.map((_, j) => (i === j ? 1 : 0)),
    ]);
    for (let c = 0; c < n; c++) {
      let pivot = c;
      for (let i = c; i < n; i++) if (Math.abs(a[i]?.[c] as number) > Math.abs(a[pivot]?.[c] as number)) pivot = i;
      [a[c], a[pivot]] = [a[pivot] as number[], a[c] as number[]];
      const lead = a[c] as number[];
      const by = lead[c] as number;
      for (let j = 0; j < 2 * n; j++) lead[j] = (lead[j] as number) / by;
      a.forEach((row, i) => {
        const f = row[c] as number;
        if (i !== c) for (let j = 0; j < 2 * n; j++) row[j] = (row[j] as number) - f * (lead[j] as number);
      });
    }
    return a.map((r, i) => r.slice(n).map((v, j) => v * (scale[i] as number) * (scale[j] as number)));
  }
  const joint = (matrix: number[][]): JointCovariance => ({
    frames: [{ frame: 'inside', reference }],
    terms: [{ name: 'length', coefficients: [1] }],
    matrix: Float64Array.from(matrix.flat()),
  });

  for (const estimated of [false, true]) {
    it(`gives the covariance of all observations together, the term ${estimated ? 'estimated' : 'only counted'}`, () => {
      const names = estimated ? ['length'] : [];
      const state = openJointCovariance(joint(batch(rows, estimated)), names);
      const effect = addTie(state, targetTie(0, -1, place, 0.03)).motionOf(0);
      const expected = batch([...rows, ...targetRows], estimated);
      for (let i = 0; i < 7; i++) {
        for (let j = 0; j < 7; j++) {
          const size = Math.sqrt((expected[i]?.[i] as number) * (expected[j]?.[j] as number));
          const found = (effect.ties[7 * i + j] as number) + (effect.scale[7 * i + j] as number);
          expect(Math.abs(found - (expected[i]?.[j] as number)) / size).toBeLessThan(1e-8);
        }
      }
      const before = placeUncertainty(
        addTie(state, { ...targetTie(0, -1, place, 0.03), rowCount: 0, rows: new Float64Array(0) }).motionOf(0),
        place,
      );
      const after = placeUncertainty(effect, place);
      expect(after.total).toBeLessThan(before.total);
      if (estimated) expect(after.scale).toBe(0);
      else expect(after.scale).toBeGreaterThan(0);
    });
  }
});
