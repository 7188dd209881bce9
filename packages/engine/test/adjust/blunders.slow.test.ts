import { describe, expect, it } from 'vitest';
import { countFalseAlarms, scoreBlunders } from './blunder-proof.ts';

describe('planted bad ties in 510 jobs, and 2000 good jobs', () => {
  it('at least 95 % are named where the network allows it, and listed where it cannot tell', async () => {
    const kinds = ['wrong-number', 'slipped-overlap', 'stale-probing'] as const;
    const scores = [];
    for (const kind of kinds) scores.push(await scoreBlunders(kind, 0, 170));
    for (const score of scores) {
      expect(score.named / score.allowed).toBeGreaterThanOrEqual(0.95);
      expect(score.misnamed / score.allowed).toBeLessThanOrEqual(0.01);
      expect(score.listed / score.alike).toBeGreaterThanOrEqual(0.95);
    }
  }, 600_000);

  it('the global test fails in 5 +- 1.5 % of good jobs, the tie tests in about 1 % at most', async () => {
    const { global, ties } = await countFalseAlarms(0, 2000);
    expect(Math.abs(global - 0.05)).toBeLessThan(0.015);
    expect(ties).toBeLessThan(0.015);
  }, 900_000);
});
