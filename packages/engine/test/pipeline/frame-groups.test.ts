import { compose, groupFrames, invert, makeRandom, transformPoint } from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';
import { randomPose } from './moved-scan.ts';

describe('groupFrames', () => {
  const random = makeRandom(3, 'groups');
  const pose = () => randomPose(random, 100);

  it('chains links in either direction and keeps the first frame of a group as its base', () => {
    const [bFromA, bFromC] = [pose(), pose()];
    const groups = groupFrames(
      ['a', 'b', 'c', 'd'],
      [
        { frameA: 'a', frameB: 'b', bFromA, sigma: 1 },
        { frameA: 'c', frameB: 'b', bFromA: bFromC, sigma: 2 },
      ],
    );
    expect(groups.map((group) => group.frames)).toEqual([['a', 'b', 'c'], ['d']]);
    const aFromC = compose(invert(bFromA), bFromC);
    const found = groups[0]?.groupFromFrame.get('c');
    const p = [1, 2, 3] as const;
    const [x, y] = [transformPoint(aFromC, p), transformPoint(found as never, p)];
    for (let k = 0; k < 3; k++) expect(x[k]).toBeCloseTo(y[k] as number, 9);
  });

  it('uses the surest links of a loop', () => {
    const [bFromA, bFromC, aFromC] = [pose(), pose(), pose()];
    const groups = groupFrames(
      ['a', 'b', 'c'],
      [
        { frameA: 'a', frameB: 'b', bFromA, sigma: 9 },
        { frameA: 'c', frameB: 'b', bFromA: bFromC, sigma: 1 },
        { frameA: 'c', frameB: 'a', bFromA: aFromC, sigma: 1 },
      ],
    );
    const expected = transformPoint(compose(bFromC, invert(aFromC)), [1, 2, 3]);
    const bFromGroup = invert(groups[0]?.groupFromFrame.get('b') as never);
    const found = transformPoint(bFromGroup, [1, 2, 3]);
    for (let k = 0; k < 3; k++) expect(found[k]).toBeCloseTo(expected[k] as number, 9);
  });
});
