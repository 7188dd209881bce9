import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { createJob } from '../../src/index.ts';
import { writeBumpySheets } from '../fixtures/bumpy-sheet.ts';
import { temporaryFolder } from '../fixtures/temporary-folder.ts';
import { emptyTally, killOften } from './kill-program.ts';

describe('kill -9 at 200 random moments of add, align, fuse and undo', () => {
  it('leaves the job as after its last finished operation, results intact, no half result visible', async () => {
    const parent = temporaryFolder();
    const files = writeBumpySheets(parent, 20);
    const tally = emptyTally();
    // A new job now and then, so that the journals stay short and the test quick.
    for (let round = 0; round < 10; round++) {
      const folder = join(parent, `job-${round}`);
      await (await createJob(folder)).close();
      await killOften(folder, files, 20, tally);
    }
    expect(tally.kills).toBe(200);
    // The kills fell into all operations, and many into the middle of one.
    for (const word of ['ready', 'added', 'aligned', 'fused', 'undone'])
      expect(tally.after[word] ?? 0).toBeGreaterThan(0);
    expect(tally.leftovers).toBeGreaterThan(50);
    expect(tally.aligned).toBeGreaterThan(10);
    expect(tally.fused).toBeGreaterThan(5);
  }, 3_600_000);
});
