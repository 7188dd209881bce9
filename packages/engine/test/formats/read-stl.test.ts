import { describe, expect, it } from 'vitest';
import { areaAndVolume, BOX_TRIANGLES, binaryStl, codesOf, readBytes, topology } from './sample-files.ts';

function asciiStl(triangles: readonly (readonly number[])[], name = 'box'): string {
  const facets = triangles.map(
    (t) =>
      `facet normal 0 0 0\n outer loop\n${[0, 3, 6].map((k) => `  vertex ${t.slice(k, k + 3).join(' ')}\n`).join('')} endloop\nendfacet\n`,
  );
  return `solid ${name}\n${facets.join('')}endsolid ${name}\n`;
}

describe('readScanFile on STL', () => {
  it('is binary by its size, 84 + 50 n, also when the header begins with "solid" [de-facto STL layout, field report 50]', async () => {
    const bytes = binaryStl('solid exported by a tool', BOX_TRIANGLES);
    expect(bytes.length).toBe(84 + 50 * 12);
    const scan = await readBytes('box.stl', bytes);
    expect(scan.encoding).toBe('binary-little-endian');
    expect(scan.triangles?.length).toBe(36);
    expect(scan.positions.length).toBe(24);
  });

  it('is binary although everything up to the first facet is text and the header says facet', async () => {
    const scan = await readBytes('box.stl', binaryStl('solid facet normal vertex endsolid', BOX_TRIANGLES));
    expect(scan.encoding).toBe('binary-little-endian');
    expect(scan.counts.facesRead).toBe(12);
  });

  it('reads ascii, several solids and empty ones', async () => {
    const text = `solid nothing\nendsolid nothing\n${asciiStl(BOX_TRIANGLES)}${asciiStl([[5, 5, 5, 6, 5, 5, 5, 6, 5]], 'second one')}`;
    const scan = await readBytes('two.stl', text);
    expect(scan.encoding).toBe('ascii');
    expect(scan.counts.facesRead).toBe(13);
    expect(scan.positions.length / 3).toBe(11);
    expect(codesOf(scan)).not.toContain('scan-truncated');
  });

  it('welds equal corners so that the box is closed, and says so [field report 61]', async () => {
    const scan = await readBytes('box.stl', binaryStl('', BOX_TRIANGLES));
    expect(scan.counts).toMatchObject({ facesRead: 12, cornersWelded: 28 });
    expect(topology(scan.triangles as Uint32Array)).toEqual({
      usedVertices: 8,
      edges: 18,
      boundaryEdges: 0,
      nonManifoldEdges: 0,
    });
    const { area, volume } = areaAndVolume(scan.positions, scan.triangles as Uint32Array);
    expect(area).toBeCloseTo(6, 12);
    expect(volume).toBeCloseTo(1, 12);
    expect(scan.findings.find(({ code }) => code === 'stl-welded')?.message).toContain(
      '36 corners joined into 8 vertices',
    );
  });

  it('keeps every facet in its place: doubles, reversed doubles, facets without area [field report 61]', async () => {
    const a = [0, 0, 0, 1, 0, 0, 0, 1, 0];
    const reversed = [0, 1, 0, 1, 0, 0, 0, 0, 0];
    const point = [1, 0, 0, 1, 0, 0, 1, 0, 0];
    const scan = await readBytes('d.stl', binaryStl('', [a, a, reversed, point]));
    expect([...(scan.triangles ?? [])]).toEqual([0, 1, 2, 0, 1, 2, 2, 1, 0, 1, 1, 1]);
    expect(scan.faceOfTriangle).toBeNull();
    expect(scan.counts.trianglesWithoutArea).toBe(1);
  });

  it('welds exactly: the next float is another vertex, minus zero is zero', async () => {
    const next = 1 + 2 ** -23;
    const scan = await readBytes(
      'e.stl',
      binaryStl('', [
        [0, 0, 0, 1, 0, 0, 0, 1, 0],
        [-0, 0, -0, next, 0, 0, 0, 1, 0],
      ]),
    );
    expect([...(scan.triangles ?? [])]).toEqual([0, 1, 2, 0, 3, 2]);
  });

  it('keeps three vertices a facet when asked not to weld', async () => {
    for (const content of [binaryStl('', BOX_TRIANGLES), asciiStl(BOX_TRIANGLES)]) {
      const scan = await readBytes('box.stl', content, { weld: 'none' });
      expect(scan.positions.length / 3).toBe(36);
      expect([...(scan.triangles ?? [])]).toEqual(Array.from({ length: 36 }, (_, i) => i));
      expect(scan.counts.cornersWelded).toBe(0);
    }
  });

  it('numbers vertices by their first corner in the file, however many there are', async () => {
    // 20 000 separate triangles: every table of the welder grows several times.
    const triangles = Array.from({ length: 20_000 }, (_, i) => {
      const x = (i * 7919) % 20_000;
      return [x, 0, 0, x, 1, 0, x, 0, 1];
    });
    const scan = await readBytes('many.stl', binaryStl('', [...triangles, ...triangles]));
    expect(scan.positions.length / 3).toBe(60_000);
    const indices = scan.triangles as Uint32Array;
    expect(indices.subarray(0, 60_000).every((index, i) => index === i)).toBe(true);
    expect(indices.subarray(60_000).every((index, i) => index === i)).toBe(true);
    expect(scan.positions[3 * 30]).toBe((10 * 7919) % 20_000);
  });

  it('loads the whole facets of a cut file and says what is missing', async () => {
    const bytes = binaryStl('', BOX_TRIANGLES);
    const binary = await readBytes('cut.stl', bytes.subarray(0, 84 + 50 * 5 + 20));
    expect(binary.counts).toMatchObject({ facesStated: 12, facesRead: 5 });
    expect(binary.findings.find(({ code }) => code === 'scan-truncated')?.message).toContain('12 facets but holds 5');
    const text = asciiStl(BOX_TRIANGLES);
    const ascii = await readBytes('cut.stl', text.slice(0, text.lastIndexOf('vertex') + 10));
    expect(ascii.counts.facesRead).toBe(11);
    expect(codesOf(ascii)).toContain('scan-truncated');
  });

  it('drops a corner that is not a number with its facet', async () => {
    const scan = await readBytes(
      'n.stl',
      binaryStl('', [
        [0, 0, 0, 1, 0, 0, 0, 1, 0],
        [Number.NaN, 0, 0, 1, 0, 0, 0, 1, 0],
      ]),
    );
    expect(scan.counts).toMatchObject({ facesRead: 2, trianglesDropped: 1, pointsDropped: 1 });
    expect(scan.positions.length / 3).toBe(3);
  });
});
