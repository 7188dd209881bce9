import { mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { appendFile } from 'node:fs/promises';
import { join } from 'node:path';
import { JOB_SCHEMA_VERSION } from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';
import { createJob, inspectJournal, openJob, openJobForWriting } from '../../src/index.ts';
import { scanAdded } from '../fixtures/changes.ts';
import { temporaryFolder } from '../fixtures/temporary-folder.ts';

const parent = temporaryFolder();

describe('job folder', () => {
  it('is made once, and is there after it is opened again', async () => {
    const folder = join(parent, 'made');
    const made = await createJob(folder, { seed: 42 });
    await made.commit(scanAdded('a'), 'add a.ply');
    await made.close();
    const read = await openJob(folder);
    expect(read.document).toMatchObject({ name: 'made', seed: 42, schemaVersion: JOB_SCHEMA_VERSION, frames: ['a'] });
    expect(read.document.scans.map((scan) => scan.id)).toEqual(['a']);
    await expect(createJob(folder)).rejects.toMatchObject({ code: 'job-exists' });
    await expect(openJob(join(parent, 'nowhere'))).rejects.toMatchObject({ code: 'not-a-job' });
  });

  it('is not made where other files are, but over the rest of a killed `new`', async () => {
    const full = join(parent, 'full');
    mkdirSync(full);
    writeFileSync(join(full, 'holiday.txt'), 'x');
    await expect(createJob(full)).rejects.toMatchObject({ code: 'folder-not-empty' });
    const rest = join(parent, 'rest');
    mkdirSync(join(rest, 'blobs'), { recursive: true });
    writeFileSync(join(rest, 'journal.jsonl'), 'half a li');
    await (await createJob(rest)).close();
    expect((await openJob(rest)).document.name).toBe('rest');
  });

  it('keeps what was finished when the last line of the journal is torn, and writes on after it', async () => {
    const folder = join(parent, 'torn');
    const store = await createJob(folder);
    await store.commit(scanAdded('a'), 'add a.ply');
    await store.close();
    await appendFile(join(folder, 'journal.jsonl'), '{"sum":"00112233445566778899aabbccddeeff","entry":{"seq');
    const read = await openJob(folder);
    expect(read.document.scans).toHaveLength(1);
    expect(read.tornByteLength).toBeGreaterThan(0);
    const writer = await openJobForWriting(folder);
    await writer.commit(scanAdded('b'), 'add b.ply');
    await writer.close();
    const after = await openJob(folder);
    expect(after.document.scans.map((scan) => scan.id)).toEqual(['a', 'b']);
    expect(after.tornByteLength).toBe(0);
  });

  it('refuses a journal with a flipped byte, for reading and writing, and changes nothing', async () => {
    const folder = join(parent, 'flipped');
    const store = await createJob(folder);
    await store.commit(scanAdded('a'), 'add a.ply');
    await store.commit(scanAdded('b'), 'add b.ply');
    await store.close();
    const path = join(folder, 'journal.jsonl');
    const bytes = readFileSync(path);
    const at = bytes.indexOf('a.ply');
    bytes[at] = (bytes[at] as number) ^ 1;
    writeFileSync(path, bytes);
    await expect(openJob(folder)).rejects.toMatchObject({ code: 'journal-damaged' });
    await expect(openJobForWriting(folder)).rejects.toMatchObject({ code: 'journal-damaged' });
    expect(readFileSync(path)).toEqual(bytes);
    expect((await inspectJournal(folder)).damage).toEqual({
      line: 2,
      reason: 'has bytes that do not match their checksum',
    });
  });

  it('refuses a job of a newer version', async () => {
    const folder = join(parent, 'newer');
    const store = await createJob(folder);
    const change = { kind: 'created', schemaVersion: JOB_SCHEMA_VERSION + 1, name: 'x', seed: 1 } as const;
    await expect(store.commit(change, 'x')).rejects.toMatchObject({ code: 'job-newer' });
    await store.close();
  });

  it('proves a blob when it is read, and says what is wrong with it', async () => {
    const folder = join(parent, 'blobs');
    const store = await createJob(folder);
    const content = new TextEncoder().encode('points');
    const name = await store.blobs.put([content.subarray(0, 2), content.subarray(2)]);
    // SHA-256 of "points", from sha256sum.
    expect(name).toBe('c54a061dfcc125cb160421b2680feaf6d65d938d756d887fe4d8d1d046eb626e');
    expect(new TextDecoder().decode(await store.blobs.get(name))).toBe('points');
    writeFileSync(store.blobs.pathOf(name), 'pointz');
    await expect(store.blobs.get(name)).rejects.toMatchObject({ code: 'blob-changed' });
    expect(await store.blobs.put([content])).toBe(name);
    expect(await store.blobs.state(name)).toBe('intact');
    await expect(store.blobs.get('0'.repeat(64))).rejects.toMatchObject({ code: 'blob-missing' });
    await store.close();
  });
});
