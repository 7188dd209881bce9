import { compose, invert, makeRunContext, prepareScan } from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';
import { sharedPath } from '../../../../tests/shared-data.ts';
import { assembleAll, deviationAfterFit } from './assembly-check.ts';
import { inOtherFrame, randomStart, readBunnyScans } from './bunny-scans.ts';

const context = makeRunContext();
const folder = sharedPath('data/stanford-bunny-scans');

describe.skipIf(folder === null)('ten range scans from random frames (Stanford bunny, poses: bun.conf)', () => {
  it.each(Array.from({ length: 20 }, (_, i) => i + 1))('seed %i', { timeout: 600_000 }, async (seed) => {
    const published = await readBunnyScans(folder as string);
    const starts = published.map(({ name }) => randomStart(seed, name, 5000));
    const prepared = [];
    for (let i = 0; i < published.length; i++) {
      prepared.push(await prepareScan(inOtherFrame(published[i].data, starts[i]), {}, context));
    }
    const { result } = await assembleAll(prepared);
    // A refusal is allowed, a wrong pose never: every scan that has a pose has the right one.
    const truth = published.map((scan, i) => compose(scan.objectFromScan, invert(starts[i])));
    const deviation = deviationAfterFit(result, prepared, truth);
    expect(deviation.angleDeg).toBeLessThan(1);
    expect(deviation.way).toBeLessThan(1.5);
    expect(result.placedCount).toBe(10);
  });
});
