import { describe, expect, it } from 'vitest';
import { makeRandom } from '../../src/base/index.ts';
import { damage, faultOf, seedFiles } from './broken-files.ts';
import { Bytes, binaryStl, codesOf, readBytes } from './sample-files.ts';

describe('files that are not what they should be', () => {
  it.each(seedFiles())('$name of the corpus itself is read without a warning', async ({ name, bytes }) => {
    const scan = await readBytes(name, bytes);
    expect(scan.findings.filter(({ severity }) => severity !== 'note')).toEqual([]);
    expect(scan.positions.length / 3).toBe(name.endsWith('stl') ? 8 : 40);
    expect(codesOf(scan)).not.toContain('scan-name-misleading');
  });

  it.each(seedFiles())('$name, damaged 250 times: refused, or sound', async ({ name, bytes }) => {
    const random = makeRandom(20260101, `damage/${name}`);
    for (let round = 0; round < 250; round++) {
      const broken = damage(bytes, random);
      expect(
        await faultOf(name, broken),
        `round ${round}: ${Buffer.from(broken).toString('latin1').slice(0, 300)}`,
      ).toBeNull();
    }
  });

  it.each(seedFiles())('$name cut at every length: refused, or sound', async ({ name, bytes }) => {
    const step = Math.max(1, Math.floor(bytes.length / 150));
    for (let length = 0; length < bytes.length; length += step) {
      expect(await faultOf(name, bytes.subarray(0, length)), `cut at ${length}`).toBeNull();
    }
  });

  it('is told by content, whatever the name, with a note about a wrong name', async () => {
    for (const { name, bytes } of seedFiles()) {
      const right = await readBytes(name, bytes);
      for (const other of ['x.ply', 'x.stl', 'x.obj', 'x.off', 'x.pcd', 'x.xyz', 'x.dat', 'x']) {
        const scan = await readBytes(other, bytes);
        expect(scan.format).toBe(right.format);
        expect(scan.positions).toEqual(right.positions);
        const known = !/dat$|x$/.test(other) && !name.endsWith(other.slice(1));
        const sameFormat = right.format === 'points-text' && other === 'x.xyz';
        expect(codesOf(scan).includes('scan-name-misleading')).toBe(known && !sameFormat);
      }
    }
  });

  it.each([
    ['nothing', new Uint8Array(), 'file-empty'],
    ['a zip', new Bytes().text('PK').raw(3, 4).text('some archive with bytes').done(), 'scan-format-unknown'],
    ['UTF-16', new Uint8Array(Buffer.from('\ufeffv 0 0 0\nv 1 0 0\n', 'utf16le')), 'scan-format-unknown'],
    ['random bytes', Uint8Array.from({ length: 3000 }, (_, i) => (i * i * 31 + i * 7) % 256), 'scan-format-unknown'],
    ['a letter', new Bytes().text('Dear customer,\nplease find the scans enclosed.\n').done(), 'scan-format-unknown'],
    ['zeros', new Uint8Array(5000), 'scan-format-unknown'],
    ['an STL of zero facets', binaryStl('', []), 'scan-without-points'],
    ['only NaN', new Bytes().text('nan nan nan\nnan nan nan\n').done(), 'scan-without-points'],
  ])('refuses %s with a hint', async (_, bytes, code) => {
    await expect(readBytes('scan.ply', bytes)).rejects.toMatchObject({ name: 'FormatError', code });
    await expect(readBytes('scan.stl', bytes)).rejects.toMatchObject({ name: 'FormatError' });
  });

  it('loads one and two points, and many at one place, with a warning that nothing aligns to them', async () => {
    for (const [text, code] of [
      ['1 2 3\n', 'scan-too-few-points'],
      ['1 2 3\n4 5 6\n', 'scan-too-few-points'],
      ['1 2 3\n1 2 3\n1 2 3\n1 2 3\n', 'scan-points-all-equal'],
    ]) {
      const scan = await readBytes('few.xyz', text);
      expect(scan.findings.find((finding) => finding.code === code)?.severity).toBe('warning');
    }
  });

  it('believes no count that the file is too short for', async () => {
    for (const count of [4_000_000_000, 4_294_967_294]) {
      const ply = `ply\nformat ascii 1.0\nelement vertex ${count}\nproperty float x\nproperty float y\nproperty float z\nend_header\n0 0 0\n1 0 0\n0 1 0\n`;
      const scan = await readBytes('lie.ply', ply);
      expect(scan.positions.length).toBe(9);
      expect(scan.findings.find(({ code }) => code === 'scan-truncated')?.message).toContain(`of ${count}`);
    }
    const stl = binaryStl('', [[0, 0, 0, 1, 0, 0, 0, 1, 0]], 0xffffffff);
    expect((await readBytes('lie.stl', stl)).counts).toMatchObject({ facesStated: 0xffffffff, facesRead: 1 });
  });

  it('reads a source whose length is unknown, and one that gives a byte at a time', async () => {
    const { readScanFile } = await import('../../src/formats/index.ts');
    const { quietContext } = await import('./sample-files.ts');
    for (const { name, bytes } of seedFiles()) {
      const whole = await readBytes(name, bytes);
      for (const size of [null, bytes.length]) {
        const source = {
          name,
          size,
          read: async (position: number, target: Uint8Array) => {
            if (position >= bytes.length) return 0;
            target[0] = bytes[position];
            return 1;
          },
        };
        const scan = await readScanFile(source, {}, quietContext());
        expect(scan.positions).toEqual(whole.positions);
        expect(scan.triangles).toEqual(whole.triangles);
      }
    }
  });

  it('stops when asked to', async () => {
    const { bytesInMemory, readScanFile } = await import('../../src/formats/index.ts');
    const { makeRunContext } = await import('../../src/base/index.ts');
    const bytes = new TextEncoder().encode('1 2 3\n'.repeat(100_000));
    const context = makeRunContext({ signal: { aborted: true } });
    await expect(readScanFile(bytesInMemory('a.xyz', bytes), {}, context)).rejects.toMatchObject({
      name: 'AbortError',
    });
  });
});
