import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { createJob } from '../../src/index.ts';
import { writeBumpySheets } from '../fixtures/bumpy-sheet.ts';
import { temporaryFolder } from '../fixtures/temporary-folder.ts';
import { emptyTally, killOften } from './kill-program.ts';

describe('kill -9 at random moments of add, align, fuse and undo', () => {
  it('leaves the job as after its last finished operation (a few kills here, 200 in the slow lane)', async () => {
    const parent = temporaryFolder();
    const folder = join(parent, 'job');
    await (await createJob(folder)).close();
    const tally = emptyTally();
    await killOften(folder, writeBumpySheets(parent, 20), 8, tally);
    expect(tally.kills).toBe(8);
    expect(tally.leftovers).toBeGreaterThan(0);
  });
});
