import { describe, expect, it } from 'vitest';
import { makeRandom } from '../../src/base/index.ts';
import { codesOf, readBytes } from './sample-files.ts';

type Depth = (x: number, y: number) => number | null;

/** A scan along -z of a height over the plane, one sample a millimetre, noise 0.02 mm, rotated by a tilt about x. */
function gridPly(columns: number, rows: number, depth: Depth, tilt = 0, info = true): string {
  const random = makeRandom(7, 'range-grid test');
  const vertices: string[] = [];
  const cells: string[] = [];
  for (let row = 0; row < rows; row++) {
    for (let column = 0; column < columns; column++) {
      const z = depth(column, row);
      if (z === null) {
        cells.push('0');
        continue;
      }
      cells.push(`1 ${vertices.length}`);
      const noisy = z + 0.02 * random.normal();
      const y = row * Math.cos(tilt) - noisy * Math.sin(tilt);
      vertices.push(`${column} ${y} ${row * Math.sin(tilt) + noisy * Math.cos(tilt)}`);
    }
  }
  return [
    'ply\nformat ascii 1.0',
    ...(info ? [`obj_info num_cols ${columns}\nobj_info num_rows ${rows}`] : []),
    `element vertex ${vertices.length}\nproperty float x\nproperty float y\nproperty float z`,
    `element range_grid ${cells.length}\nproperty list uchar int vertex_indices\nend_header`,
    ...vertices,
    ...cells,
    '',
  ].join('\n');
}

describe('range grids in PLY', () => {
  it('gives two triangles a cell on a smooth surface, seen from the front along the view direction', async () => {
    for (const tilt of [0, 0.7, -2.5]) {
      const scan = await readBytes(
        'g.ply',
        gridPly(60, 40, (x, y) => 20 * Math.sin(x / 12) + 0.01 * y * y, tilt),
      );
      expect(scan.triangles?.length).toBe(3 * 2 * 59 * 39);
      const expected = [0, -Math.sin(tilt), Math.cos(tilt)];
      const cosine = expected.reduce((sum, value, k) => sum + value * (scan.viewDirection?.[k] ?? 0), 0);
      expect(cosine).toBeGreaterThan(Math.cos(0.03));
      const normalZ = triangleNormals(scan.positions, scan.triangles as Uint32Array).map(
        (n) => n[0] * expected[0] + n[1] * expected[1] + n[2] * expected[2],
      );
      expect(Math.min(...normalZ)).toBeGreaterThan(0);
    }
  });

  it.each([8, 30, 300])('leaves out edges across a step of %d mm at one sample a millimetre', async (step) => {
    const scan = await readBytes(
      'g.ply',
      gridPly(60, 40, (x, y) => (x < 30 ? 0 : step) + 0.05 * y),
    );
    // Nothing bridges column 29 and 30; everything else is there.
    expect(scan.triangles?.length).toBe(3 * 2 * (29 + 29) * 39);
    expect(longestEdge(scan.positions, scan.triangles as Uint32Array)).toBeLessThan(2);
  });

  it('keeps a slope of 75 degrees, which has edges as long as a small step', async () => {
    const scan = await readBytes(
      'g.ply',
      gridPly(60, 40, (x) => 20 * Math.sin(x / 30) + Math.max(0, Math.min(15, x - 20)) * 3.7),
    );
    const across = 59 - 2; // The first and the last edge of the slope lie between long and short ones.
    expect(scan.triangles?.length).toBeGreaterThanOrEqual(3 * 2 * across * 39);
  });

  it('closes around missing samples', async () => {
    const scan = await readBytes(
      'g.ply',
      gridPly(5, 5, (x, y) => (x === 2 && y === 2 ? null : 0)),
    );
    // Four cells lose one corner and keep one triangle each.
    expect(scan.triangles?.length).toBe(3 * (2 * 16 - 4));
  });

  it('does not depend on the unit of length', async () => {
    const text = gridPly(60, 40, (x, y) => (x < 30 ? 0 : 8) + 10 * Math.sin(y / 9));
    const scaled = text.replaceAll(/^(\S+) (\S+) (\S+)$/gm, (line, x, y, z) =>
      /^-?\d/.test(line) && !/[a-z]{2}/.test(line) ? [x, y, z].map((value) => Number(value) / 1000).join(' ') : line,
    );
    expect(scaled).not.toBe(text);
    expect([...((await readBytes('m.ply', scaled)).triangles ?? [])]).toEqual([
      ...((await readBytes('mm.ply', text)).triangles ?? []),
    ]);
  });

  it('reads points where the header does not say how the grid lies', async () => {
    const scan = await readBytes(
      'g.ply',
      gridPly(6, 5, () => 0, 0, false),
    );
    expect(scan.triangles).toBeNull();
    expect(scan.positions.length).toBe(90);
    expect(codesOf(scan)).toContain('scan-grid-size-unknown');
  });
});

function triangleNormals(positions: ArrayLike<number>, triangles: Uint32Array): number[][] {
  const out: number[][] = [];
  for (let i = 0; i < triangles.length; i += 3) {
    const [a, b, c] = [0, 1, 2].map((k) => [0, 1, 2].map((axis) => positions[3 * triangles[i + k] + axis]));
    const u = b.map((value, k) => value - a[k]);
    const v = c.map((value, k) => value - a[k]);
    out.push([u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]]);
  }
  return out;
}

function longestEdge(positions: ArrayLike<number>, triangles: Uint32Array): number {
  let longest = 0;
  for (let i = 0; i < triangles.length; i++) {
    const a = 3 * triangles[i];
    const b = 3 * triangles[i % 3 === 2 ? i - 2 : i + 1];
    longest = Math.max(
      longest,
      Math.hypot(positions[a] - positions[b], positions[a + 1] - positions[b + 1], positions[a + 2] - positions[b + 2]),
    );
  }
  return longest;
}
