import {
  adjustNetwork,
  groupByInstrument,
  groupByKind,
  JUDGE_TIES_DEFAULTS,
  makeRunContext,
  type NetworkObservation,
  reweighObservations,
  type VarianceComponent,
} from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';
import type { ObservedElements } from '../../src/adjust/observed-elements.ts';
import { estimateVarianceComponents } from '../../src/adjust/variance-components.ts';
import { makeMixedScene } from './network-scene.ts';

function near(actual: number, expected: number, tolerance: number): void {
  expect(Math.abs(actual - expected), `${actual} is not ${expected}`).toBeLessThanOrEqual(tolerance);
}

const of = (components: readonly VarianceComponent[], group: string): VarianceComponent =>
  components.find((c) => c.group === group)!;

/** Direct observations of one value with unit variance, at the mean of all. */
function directObservations(groups: Record<string, readonly number[]>): ObservedElements {
  const values = Object.entries(groups).flatMap(([tie, list]) => list.map((value) => ({ tie, value })));
  const mean = values.reduce((sum, v) => sum + v.value, 0) / values.length;
  return {
    elements: values.map(({ tie, value }, i) => ({
      tie,
      kind: 'distance',
      frames: [],
      name: String(i),
      source: { kind: 'distance', tie, pointA: 'P', pointB: 'Q', distance: value, sigma: 1 },
      link: null,
      group: i,
      size: 1,
      weight: Float64Array.of(1),
      slope: Float64Array.of(mean - value),
      weightedSumSquares: (mean - value) ** 2,
      rank: 1,
      parts: [{ block: 0, width: 1, jacobian: Float64Array.of(1) }],
      considered: [],
      motions: new Map(),
    })),
    groups: values.map((_, i) => ({ members: [i], cofactor: null })),
    held: [],
    sizes: [1],
    offsets: Int32Array.of(0, 1),
  };
}

describe('variance components [Foerstner79]', () => {
  it('two groups of direct observations of one value: the fixed point, which is the restricted likelihood', () => {
    const A = [10.01, 10.03, 9.98, 10.0, 10.03];
    const B = [10.1, 9.8, 10.2, 9.95];
    const components = estimateVarianceComponents(directObservations({ A, B }), (e) => e.tie, {
      leastRedundancy: 0,
      tolerance: 1e-13,
      largestIterationCount: 200,
    });
    const [a, b] = [of(components, 'A'), of(components, 'B')];
    // Recomputed by iterating Helmert's estimate and, apart from it, by maximising the restricted likelihood.
    near(a.factor, 0.000448285816, 6e-13);
    near(b.factor, 0.023063094419, 6e-13);
    near(a.redundancy, 4.015312, 6e-7);
    near(b.redundancy, 3.984688, 6e-7);
    near(a.redundancy + b.redundancy, 8, 1e-9);
    const [p, q] = [5 / a.factor, 4 / b.factor];
    const mean = (x: readonly number[]): number => x.reduce((s, v) => s + v, 0) / x.length;
    near((p * mean(A) + q * mean(B)) / (p + q), 10.010038279, 6e-10);
    near(1 / Math.sqrt(p + q), 0.009395975, 6e-10);
  });

  it('planted sigmas come back within 10 % at redundancies of some hundred, with uncertainties that are true', async () => {
    // True variances: targets 2.25, picked pairs 0.5, of what is stated.
    const planted = { targets: 2.25, 'picked pairs': 0.5 };
    const deviations: number[] = [];
    for (let seed = 1; seed <= 2; seed++) {
      const frames = 30;
      const scene = makeMixedScene(seed, frames, 1);
      const observations = scene.observations.map((o): NetworkObservation => {
        if (o.kind === 'target') return { ...o, covariance: o.covariance.map((c) => c / planted.targets) };
        return o.kind === 'pair' ? { ...o, sigma: o.sigma / Math.sqrt(planted['picked pairs']) } : o;
      });
      const result = await adjustNetwork(observations, {}, makeRunContext());
      for (const [group, factor] of Object.entries(planted)) {
        const found = of(result.varianceComponents, group);
        if (found.redundancy >= 200) expect(Math.abs(Math.sqrt(found.factor / factor) - 1)).toBeLessThan(0.1);
        deviations.push((found.factor - factor) / found.uncertainty!);
        // Never better than all of its redundancy alone would allow.
        expect(found.uncertainty! / found.factor).toBeGreaterThanOrEqual(0.999 * Math.sqrt(2 / found.redundancy));
      }
      expect(of(result.varianceComponents, 'targets').redundancy).toBeGreaterThan(200);
      const total = result.varianceComponents.reduce((sum, c) => sum + c.redundancy, 0);
      near(total, result.redundancy, 1e-6);
    }
    const rms = Math.sqrt(deviations.reduce((s, d) => s + d * d, 0) / deviations.length);
    expect(rms).toBeLessThan(2);
  });

  it('groups by instrument, and what has too little redundancy keeps its stated variance', async () => {
    const { observations, frames } = makeMixedScene(4, 6);
    const instruments = new Map(frames.map((f, i) => [f, i < 3 ? 'tracked-laser' : 'structured-light']));
    const judge = { ...JUDGE_TIES_DEFAULTS, componentGroup: groupByInstrument(instruments) };
    const { varianceComponents } = await adjustNetwork(observations, { judge }, makeRunContext());
    expect(varianceComponents.map((c) => c.group)).toContain('targets, tracked-laser');
    expect(varianceComponents.map((c) => c.group)).toContain('targets, structured-light');
    const weak = varianceComponents.filter((c) => c.redundancy < 10);
    expect(weak.length).toBeGreaterThan(0);
    for (const c of weak) expect(c).toMatchObject({ factor: 1, uncertainty: null });
  });

  it('followed when asked for: the components of the reweighed network are one', async () => {
    const { observations } = makeMixedScene(1, 24);
    const tight = observations.map(
      (o): NetworkObservation => (o.kind === 'target' ? { ...o, covariance: o.covariance.map((c) => c / 3) } : o),
    );
    const first = await adjustNetwork(tight, {}, makeRunContext());
    const again = reweighObservations(tight, first.varianceComponents, groupByKind);
    const second = await adjustNetwork(again, {}, makeRunContext());
    for (const c of second.varianceComponents) if (c.redundancy >= 30) near(c.factor, 1, 0.01);
    expect(of(first.varianceComponents, 'targets').factor).toBeGreaterThan(2);
    expect(first.globalTest!.probability).toBeLessThan(0.001);
    expect(second.globalTest!.probability).toBeGreaterThan(0.05);
    // Poses move by parts of their uncertainty, which is now the true one.
    expect(second.enlargement).toBe(1);
  });

  it('nothing is reweighed silently: the same poses and sums with and without components', async () => {
    const { observations } = makeMixedScene(5, 5);
    const a = await adjustNetwork(observations, {}, makeRunContext());
    const b = await adjustNetwork(observations, { judge: null }, makeRunContext());
    expect(a.frames).toEqual(b.frames);
    expect(a.weightedSumSquares).toBe(b.weightedSumSquares);
    expect(b.varianceComponents).toEqual([]);
    expect(b.ties.every((t) => t.test === null)).toBe(true);
  });
});
