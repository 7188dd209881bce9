import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { createJob } from '../../src/index.ts';
import { writeBumpySheets } from '../fixtures/bumpy-sheet.ts';
import { temporaryFolder } from '../fixtures/temporary-folder.ts';
import { killOften } from './kill-program.ts';

describe('kill -9 at 200 random moments of add, align, fuse and undo', () => {
  it('leaves the job as after its last finished operation, results intact, no half result visible', async () => {
    const parent = temporaryFolder();
    const folder = join(parent, 'job');
    await (await createJob(folder)).close();
    const tally = await killOften(folder, writeBumpySheets(parent, 20), 200, 700);
    expect(tally.kills).toBe(200);
    // The kills fell into all operations, and many into the middle of one.
    for (const word of ['ready', 'added', 'aligned', 'fused', 'undone']) expect(tally.after[word]).toBeGreaterThan(0);
    expect(tally.leftovers).toBeGreaterThan(50);
    expect(tally.aligned).toBeGreaterThan(10);
    expect(tally.fused).toBeGreaterThan(5);
  }, 900_000);
});
