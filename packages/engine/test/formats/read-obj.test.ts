import { describe, expect, it } from 'vitest';
import { areaAndVolume, codesOf, readBytes, topology } from './sample-files.ts';

function relativeBox(x: number): string {
  const corners = [
    [0, 0, 0],
    [1, 0, 0],
    [1, 1, 0],
    [0, 1, 0],
    [0, 0, 1],
    [1, 0, 1],
    [1, 1, 1],
    [0, 1, 1],
  ];
  const quads = [
    [1, 4, 3, 2],
    [5, 6, 7, 8],
    [1, 2, 6, 5],
    [2, 3, 7, 6],
    [3, 4, 8, 7],
    [4, 1, 5, 8],
  ];
  return (
    corners.map((c) => `v ${c[0] + x} ${c[1]} ${c[2]}\n`).join('') +
    quads.map((q) => `f ${q.map((index) => index - 9).join(' ')}\n`).join('')
  );
}

describe('readScanFile on OBJ', () => {
  it('counts relative indices from the vertices read so far: three boxes, each v..f -8..-1 [field report 55]', async () => {
    const scan = await readBytes('boxes.obj', `o a\n${relativeBox(0)}o b\n${relativeBox(10)}g c\n${relativeBox(20)}`);
    expect(scan.positions.length / 3).toBe(24);
    expect(scan.counts.facesRead).toBe(18);
    expect(scan.triangles?.length).toBe(3 * 36);
    expect(topology(scan.triangles as Uint32Array)).toEqual({
      usedVertices: 24,
      edges: 54,
      boundaryEdges: 0,
      nonManifoldEdges: 0,
    });
    const { area, volume } = areaAndVolume(scan.positions, scan.triangles as Uint32Array);
    expect(area).toBeCloseTo(18, 12);
    expect(volume).toBeCloseTo(3, 12);
  });

  it('cuts a concave polygon with a hole bridged by a double edge', async () => {
    // Outer square of side 4, hole of side 1 reached by a cut: area 15.
    const outline = [
      [0, 0],
      [4, 0],
      [4, 4],
      [0, 4],
      [0, 0],
      [1, 1],
      [1, 2],
      [2, 2],
      [2, 1],
      [1, 1],
    ];
    const text = `${outline.map(([x, y]) => `v ${x} ${y} 0\n`).join('')}f ${outline.map((_, i) => i + 1).join(' ')}\n`;
    const scan = await readBytes('hole.obj', text);
    expect(areaAndVolume(scan.positions, scan.triangles as Uint32Array).area).toBeCloseTo(15, 12);
    expect(scan.triangles?.length).toBe(3 * 8);
  });

  it('reads colours behind the coordinates, 0 to 1 or 0 to 255', async () => {
    const unit = await readBytes('c.obj', 'v 0 0 0 1 0.5 0\nv 1 0 0 0 0 1\nv 0 1 0 0 1 0\nf 1 2 3\n');
    expect([...(unit.colors ?? [])].slice(0, 3)).toEqual([255, 128, 0]);
    const byte = await readBytes('c.obj', 'v 0 0 0 255 128 0\nv 1 0 0 0 0 1\nv 0 1 0 0 1 0\nf 1 2 3\n');
    expect([...(byte.colors ?? [])]).toEqual([255, 128, 0, 0, 0, 1, 0, 1, 0]);
  });

  it('goes on after a backslash, skips groups, materials and texture coordinates', async () => {
    const text =
      '# head\nmtllib a.mtl\ng An f Three Other Things\nv 0 0\\\n 0\nv 1 0 0\r\nvt 0 0\nv 0 1 0\nusemtl x\ns 1\nf 1/1 2/1 \\\n3/1';
    const scan = await readBytes('k.obj', text);
    expect([...scan.positions]).toEqual([0, 0, 0, 1, 0, 0, 0, 1, 0]);
    expect([...(scan.triangles ?? [])]).toEqual([0, 1, 2]);
  });

  it('uses normals that belong to vertices, and leaves those of corners', async () => {
    const own = await readBytes('n.obj', 'v 0 0 0\nv 1 0 0\nv 0 1 0\nvn 0 0 1\nvn 0 1 0\nvn 1 0 0\nf 1//1 2//2 3//3\n');
    expect([...(own.normals ?? [])]).toEqual([0, 0, 1, 0, 1, 0, 1, 0, 0]);
    const shared = await readBytes(
      'n.obj',
      'v 0 0 0\nv 1 0 0\nv 0 1 0\nvn 0 0 1\nvn 0 1 0\nvn 1 0 0\nf 1//3 2//2 3//3\n',
    );
    expect(shared.normals).toBeNull();
    expect(codesOf(shared)).toContain('obj-normals-not-used');
  });

  it('drops faces that point to no vertex, and refuses words where numbers belong', async () => {
    const scan = await readBytes('i.obj', 'v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\nf 1 2 4\nf -4 1 2\nf 0 1 2\n');
    expect(scan.counts).toMatchObject({ facesRead: 4, facesDropped: 3 });
    await expect(readBytes('w.obj', 'v 0 0 0\nv 1 zero 0\n')).rejects.toMatchObject({
      code: 'obj-number-expected',
      place: { line: 2 },
    });
    await expect(readBytes('w.obj', 'v 0 0 0\nf 1 two 3\n')).rejects.toMatchObject({
      code: 'obj-index-expected',
      place: { line: 2 },
    });
  });

  it('loads what is whole of a cut file', async () => {
    const scan = await readBytes('cut.obj', 'v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\nf 1');
    expect(scan.triangles?.length).toBe(3);
    expect(codesOf(scan)).toContain('scan-truncated');
  });
});
