import { describe, expect, it } from 'vitest';
import { countFalseAlarms, scoreBlunders } from './blunder-proof.ts';

// The short form; 500 jobs and 2000 good ones run in blunders.slow.test.ts.
describe('planted bad ties', () => {
  for (const kind of ['wrong-number', 'slipped-overlap', 'stale-probing'] as const) {
    it(`${kind}: named as first suspect, or listed among those that cannot be told apart`, async () => {
      const score = await scoreBlunders(kind, 1000, 1014);
      expect(score.allowed).toBeGreaterThan(3);
      expect(score.alike).toBeGreaterThan(3);
      expect(score.named / score.allowed).toBeGreaterThanOrEqual(0.95);
      expect(score.misnamed).toBe(0);
      expect(score.listed / score.alike).toBeGreaterThanOrEqual(0.95);
      expect(score.missed).toBe(0);
    });
  }

  it('good jobs are hardly ever blamed', async () => {
    const { global, ties } = await countFalseAlarms(5000, 5025);
    // Binomial, 25 jobs: five or more of 5 % in one of a hundred runs, three or more of 1 % in one of five hundred.
    expect(global).toBeLessThanOrEqual(4 / 25);
    expect(ties).toBeLessThanOrEqual(2 / 25);
  });
});
