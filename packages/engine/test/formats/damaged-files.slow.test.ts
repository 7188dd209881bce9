import { describe, expect, it } from 'vitest';
import { makeRandom } from '../../src/base/index.ts';
import { damage, faultOf, seedFiles } from './broken-files.ts';

describe('files damaged many times over', () => {
  it.each(seedFiles())('$name: refused, or sound', async ({ name, bytes }) => {
    const random = makeRandom(20260102, `damage/${name}`);
    for (let round = 0; round < 2000; round++) {
      let broken = damage(bytes, random);
      for (let more = random.integer(3); more > 0 && broken.length > 0; more--) broken = damage(broken, random);
      expect(await faultOf(name, broken), `round ${round}`).toBeNull();
    }
  });
});
