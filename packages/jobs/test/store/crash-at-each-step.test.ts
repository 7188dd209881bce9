import { existsSync } from 'node:fs';
import { rm, writeFile } from 'node:fs/promises';
import { join } from 'node:path';
import { AppError } from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';
import { createJob, NODE_STORAGE_FILES, openJob, openJobForWriting, type StorageFiles } from '../../src/index.ts';
import { storageError } from '../../src/store/storage-files.ts';
import { scanAdded } from '../fixtures/changes.ts';
import { temporaryFolder } from '../fixtures/temporary-folder.ts';

class Crash extends Error {}

/**
 * A disk on which the n-th writing step goes wrong half way, and, after a crash, no step is done any more.
 *
 * @param failure what the failing step throws
 * @param forever whether all later steps fail as well (the program is dead) or only this one (the disk is full)
 */
function failingFiles(step: number, failure: () => unknown, forever: boolean): StorageFiles & { steps: number } {
  const state = { steps: 0 };
  const guard = async (half: () => Promise<unknown>, whole: () => Promise<void>): Promise<void> => {
    state.steps++;
    if (state.steps === step) {
      await half();
      throw failure();
    }
    if (forever && state.steps > step) throw failure();
    await whole();
  };
  const nothing = async (): Promise<void> => undefined;
  const real = NODE_STORAGE_FILES;
  const halfOf = async (chunks: Iterable<Uint8Array> | AsyncIterable<Uint8Array>): Promise<Uint8Array> => {
    const all: Uint8Array[] = [];
    for await (const chunk of chunks) all.push(chunk);
    const bytes = Buffer.concat(all);
    return bytes.subarray(0, bytes.length / 2);
  };
  return Object.assign(state, {
    ensureFolder: (path: string) => guard(nothing, () => real.ensureFolder(path)),
    writeNew: (path: string, chunks: Iterable<Uint8Array> | AsyncIterable<Uint8Array>) =>
      guard(
        async () => writeFile(path, await halfOf(chunks)),
        () => real.writeNew(path, chunks),
      ),
    writeAt: (path: string, position: number, bytes: Uint8Array) =>
      guard(
        () => real.writeAt(path, position, bytes.subarray(0, bytes.length / 2)),
        () => real.writeAt(path, position, bytes),
      ),
    truncate: (path: string, length: number) => guard(nothing, () => real.truncate(path, length)),
    rename: (from: string, to: string) => guard(nothing, () => real.rename(from, to)),
    syncFolder: (path: string) => guard(nothing, () => real.syncFolder(path)),
    remove: (path: string) => guard(nothing, () => real.remove(path)),
    read: real.read,
    list: real.list,
    byteLength: real.byteLength,
  });
}

const bytes = new TextEncoder().encode('a scan of some length'.repeat(20));

async function addScan(folder: string, files: StorageFiles): Promise<void> {
  const store = await openJobForWriting(folder, { files });
  try {
    const blob = await store.blobs.put([bytes]);
    await store.commit(scanAdded('b', blob), 'add b.ply');
  } finally {
    await store.close().catch(() => undefined);
  }
}

/** Every claim of this very process counts as living; a dead program's does not. */
async function forgetClaims(folder: string): Promise<void> {
  await rm(join(folder, 'writers'), { recursive: true, force: true });
}

describe('a job whose program dies at any writing step', () => {
  it('opens with all that was finished and nothing half done', async () => {
    const parent = temporaryFolder();
    let finishedRuns = 0;
    let before = 0;
    let after = 0;
    for (let step = 1; finishedRuns === 0 && step < 100; step++) {
      const folder = join(parent, `step-${step}`);
      const first = await createJob(folder);
      await first.commit(scanAdded('a', await first.blobs.put([bytes.subarray(1)])), 'add a.ply');
      await first.close();
      const files = failingFiles(step, () => new Crash(), true);
      const outcome = await addScan(folder, files).then(
        () => 'finished',
        (error) => error,
      );
      if (outcome === 'finished' && files.steps < step) finishedRuns++;
      await forgetClaims(folder);
      const read = await openJob(folder);
      const ids = read.document.scans.map((scan) => scan.id);
      expect([['a'], ['a', 'b']]).toContainEqual(ids);
      for (const scan of read.document.scans) expect(await read.blobs.state(scan.dataSha256)).toBe('intact');
      ids.length === 1 ? before++ : after++;
      // And it can be written again.
      const writer = await openJobForWriting(folder);
      await writer.commit(scanAdded('c'), 'add c.ply');
      await writer.close();
      expect((await openJob(folder)).document.scans.map((scan) => scan.id)).toEqual([...ids, 'c']);
    }
    expect(finishedRuns).toBe(1);
    expect(before).toBeGreaterThan(5);
    expect(after).toBeGreaterThan(0);
  });

  it('is made whole or not at all', async () => {
    const parent = temporaryFolder();
    let finished = false;
    for (let step = 1; !finished && step < 100; step++) {
      const folder = join(parent, `new-${step}`);
      const files = failingFiles(step, () => new Crash(), true);
      finished = await createJob(folder, {}, { files }).then(
        (store) =>
          store.close().then(
            () => files.steps < step,
            () => false,
          ),
        () => false,
      );
      await forgetClaims(folder);
      const whole = existsSync(join(folder, 'job.json'));
      if (whole) expect((await openJob(folder)).document.name).toBe(`new-${step}`);
      else await (await createJob(folder)).close();
      expect((await openJob(folder)).document.scans).toEqual([]);
    }
    expect(finished).toBe(true);
  });
});

describe('a job on a disk that is full or not writable', () => {
  it.each([
    ['ENOSPC', 'disk-full'],
    ['EACCES', 'no-rights'],
    ['EIO', 'storage-failed'],
  ])('is unharmed by %s at any step, and says %s', async (systemCode, code) => {
    const parent = temporaryFolder();
    let finished = false;
    let refused = 0;
    for (let step = 1; !finished && step < 100; step++) {
      const folder = join(parent, `step-${step}`);
      const first = await createJob(folder);
      await first.commit(scanAdded('a', await first.blobs.put([bytes.subarray(1)])), 'add a.ply');
      await first.close();
      const failure = (): unknown => storageError(Object.assign(new Error(systemCode), { code: systemCode }), 'x');
      const files = failingFiles(step, failure, false);
      const outcome = await addScan(folder, files).then(
        () => null,
        (error: unknown) => error,
      );
      finished = files.steps < step;
      if (outcome !== null) {
        refused++;
        expect(outcome).toBeInstanceOf(AppError);
        expect(outcome).toMatchObject({ code });
      }
      await forgetClaims(folder);
      const read = await openJob(folder);
      expect(read.tornByteLength).toBe(0);
      // An error means: not done. No error means: done.
      expect(read.document.scans.map((scan) => scan.id)).toEqual(outcome === null ? ['a', 'b'] : ['a']);
      for (const scan of read.document.scans) expect(await read.blobs.state(scan.dataSha256)).toBe('intact');
    }
    expect(finished).toBe(true);
    expect(refused).toBeGreaterThan(5);
  });
});
