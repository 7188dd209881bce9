import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { createJob } from '../../src/index.ts';
import { temporaryFolder } from '../fixtures/temporary-folder.ts';
import { killOften } from './kill-program.ts';

describe('kill -9 at random moments', () => {
  it('leaves the job as it was after its last finished operation (a few kills; many in the slow lane)', async () => {
    const parent = temporaryFolder();
    const folder = join(parent, 'job');
    await (await createJob(folder)).close();
    const file = join(parent, 'a.xyz');
    writeFileSync(file, Array.from({ length: 300 }, (_, i) => `${i} ${(i * i) % 97} ${(i * 31) % 53}\n`).join(''));
    const tally = await killOften(folder, [file], 20, 100);
    console.log(tally);
    expect(tally.kills).toBe(20);
  });
});
