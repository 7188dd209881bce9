import { type ChildProcess, spawn } from 'node:child_process';
import { readdirSync, writeFileSync } from 'node:fs';
import { hostname } from 'node:os';
import { join } from 'node:path';
import { fileURLToPath } from 'node:url';
import { describe, expect, it } from 'vitest';
import { createJob, NODE_STORAGE_FILES, openJob, openJobForWriting } from '../../src/index.ts';
import { startOfProcess } from '../../src/store/process-identity.ts';
import { claimWriting } from '../../src/store/writer-claim.ts';
import { scanAdded } from '../fixtures/changes.ts';
import { temporaryFolder } from '../fixtures/temporary-folder.ts';

const parent = temporaryFolder();

async function holdClaim(folder: string): Promise<ChildProcess> {
  const program = fileURLToPath(new URL('../fixtures/claim-holder.ts', import.meta.url));
  const child = spawn(process.execPath, ['--conditions=source', '--import', 'tsx', program, folder], {
    stdio: ['ignore', 'pipe', 'inherit'],
  });
  await new Promise<void>((resolve, reject) => {
    child.stdout?.once('data', () => resolve());
    child.once('exit', (code) => reject(new Error(`holder ended with ${code}`)));
  });
  return child;
}

describe('writer claim', () => {
  it('keeps a second program from writing, lets it read, and does not outlive kill -9', async () => {
    const folder = join(parent, 'killed');
    const store = await createJob(folder);
    await store.commit(scanAdded('a'), 'add a.ply');
    await store.close();
    const child = await holdClaim(folder);
    await expect(openJobForWriting(folder)).rejects.toMatchObject({ code: 'job-busy' });
    expect((await openJob(folder)).document.scans).toHaveLength(1);
    const ended = new Promise((resolve) => child.once('exit', resolve));
    child.kill('SIGKILL');
    await ended;
    expect(readdirSync(join(folder, 'writers'))).toHaveLength(1);
    const writer = await openJobForWriting(folder);
    await writer.commit(scanAdded('b'), 'add b.ply');
    await writer.close();
    expect(readdirSync(join(folder, 'writers'))).toEqual([]);
  });

  it('holds within one process too', async () => {
    const folder = join(parent, 'same');
    const store = await createJob(folder);
    await expect(openJobForWriting(folder)).rejects.toMatchObject({ code: 'job-busy' });
    await store.close();
    await (await openJobForWriting(folder)).close();
  });

  it('knows that a process number in use again is another process', async () => {
    const folder = join(parent, 'claims');
    await NODE_STORAGE_FILES.ensureFolder(folder);
    // This very process number, but started at another time.
    writeFileSync(join(folder, `${process.pid}_00000000t1_${hostname()}_0.claim`), '');
    const claim = await claimWriting(folder, NODE_STORAGE_FILES);
    expect(readdirSync(folder)).toHaveLength(1);
    await claim.release();
  });

  it('does not judge a claim of another computer', async () => {
    const folder = join(parent, 'network');
    await NODE_STORAGE_FILES.ensureFolder(folder);
    writeFileSync(join(folder, '1_00000000t1_elsewhere_0.claim'), '');
    await expect(claimWriting(folder, NODE_STORAGE_FILES, 1)).rejects.toMatchObject({
      code: 'job-busy',
      message: expect.stringContaining('on elsewhere'),
    });
  });

  it('gives the claim to at most one of many who ask at once', async () => {
    const folder = join(parent, 'crowd');
    let held = 0;
    let most = 0;
    await Promise.all(
      Array.from({ length: 12 }, async () => {
        const claim = await claimWriting(folder, NODE_STORAGE_FILES, 4).catch(() => null);
        if (claim === null) return;
        held++;
        most = Math.max(most, held);
        await new Promise((resolve) => setTimeout(resolve, 5));
        held--;
        await claim.release();
      }),
    );
    expect(most).toBeLessThanOrEqual(1);
    expect(readdirSync(folder)).toEqual([]);
  });

  it('tells living from ended processes', () => {
    expect(startOfProcess(process.pid)).not.toBeNull();
    expect(startOfProcess(process.pid)).toBe(startOfProcess(process.pid));
    // Larger than any process number Linux gives (2^22).
    expect(startOfProcess(4194305)).toBeNull();
  });
});
