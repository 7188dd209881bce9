import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, it } from 'vitest';
import { openByteSource } from '../src/byte-source.ts';

const folder = mkdtempSync(join(tmpdir(), 'lapjoint-source-'));
afterAll(() => rmSync(folder, { recursive: true }));

describe('openByteSource', () => {
  it('tells name and size and reads from any place', async () => {
    const path = join(folder, 'scan.ply');
    writeFileSync(
      path,
      Uint8Array.from({ length: 1000 }, (_, i) => i % 256),
    );
    const source = await openByteSource(path);
    expect([source.name, source.size]).toEqual(['scan.ply', 1000]);
    const target = new Uint8Array(10);
    expect(await source.read(300, target)).toBe(10);
    expect([...target]).toEqual([44, 45, 46, 47, 48, 49, 50, 51, 52, 53]);
    expect(await source.read(995, target)).toBe(5);
    expect(await source.read(1000, target)).toBe(0);
    await source.close();
  });

  it('refuses what is no file, with the code of the platform', async () => {
    await expect(openByteSource(join(folder, 'absent.ply'))).rejects.toMatchObject({ code: 'ENOENT' });
    await expect(openByteSource(folder)).rejects.toMatchObject({ code: 'EISDIR' });
  });
});
