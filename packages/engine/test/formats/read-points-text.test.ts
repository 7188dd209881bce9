import { describe, expect, it } from 'vitest';
import { codesOf, readBytes } from './sample-files.ts';

describe('readScanFile on columns of numbers', () => {
  it.each([
    ['blanks', '1 2 3\n4.5 -5e1 .6\n'],
    ['tabs and runs of blanks', '1\t 2   3 \r\n4.5  -5e1\t.6\r\n'],
    ['commas', '1,2,3\n4.5, -5e1, .6\n'],
    ['semicolons', '1;2;3\n4.5;-5e1;.6\n'],
    ['names', 'x,y,z\n1,2,3\n4.5,-5e1,.6\n'],
    ['names in a comment', '# x y z\n1 2 3\n\n4.5 -5e1 .6\n'],
    ['comments', '// made by hand\n1 2 3\n# between\n% and\n4.5 -5e1 .6'],
    ['a separator at the end', '1,2,3,\n4.5,-5e1,.6,\n'],
    ['a byte order mark', '\ufeff1 2 3\n4.5 -5e1 .6\n'],
    ['a count first', '2\n1 2 3\n4.5 -5e1 .6\n'],
    ['decimal commas and semicolons', '1,0;2,0;3\n4,5;-50,0;0,6\n'],
    ['decimal commas and tabs', '1,0\t2\t3\n4,5\t-50,00\t0,6\n'],
    ['other order of names', 'Z;intensity;Y;X\n3;9;2;1\n0.6;9;-50;4.5\n'],
  ])('finds out the layout: %s', async (_, text) => {
    const scan = await readBytes('cloud.txt', text);
    expect(scan.format).toBe('points-text');
    expect([...scan.positions]).toEqual([1, 2, 3, 4.5, -50, 0.6]);
  });

  it.each([
    ['whole numbers between commas that may be decimals', '1,5,2,5,3,5\n4,5,5,5,6,5\n'],
    ['commas that may be groups of thousands', '1,500;2,500;3,500\n4,500;5,500;6,500\n'],
  ])('refuses %s', async (_, text) => {
    await expect(readBytes('cloud.csv', text)).rejects.toMatchObject({
      code: 'text-decimal-comma',
      place: { line: 1 },
    });
  });

  it('tells normals, colours and numbers of lines by their values', async () => {
    const normals = await readBytes('a.xyz', '0 0 0 0 0 1\n1 2 3 0.6 0.8 0\n');
    expect([...(normals.normals ?? [])]).toEqual([0, 0, 1, Math.fround(0.6), Math.fround(0.8), 0]);
    const colors = await readBytes('a.xyz', '0 0 0 255 0 7\n1 2 3 6 8 0\n');
    expect([...(colors.colors ?? [])]).toEqual([255, 0, 7, 6, 8, 0]);
    const intensity = await readBytes('a.pts', '2\n0 0 0 -1000 255 0 7\n1 2 3 12 6 8 0\n');
    expect([...(intensity.colors ?? [])]).toEqual([255, 0, 7, 6, 8, 0]);
    const both = await readBytes('a.txt', '0 0 0 255 0 7 0 0 1\n1 2 3 6 8 0 0 1 0\n');
    expect([...(both.normals ?? [])]).toEqual([0, 0, 1, 0, 1, 0]);
    const numbered = await readBytes('a.txt', '1 5 5 5\n2 6 7 8\n3 9 9 9\n');
    expect([...numbered.positions]).toEqual([5, 5, 5, 6, 7, 8, 9, 9, 9]);
    expect(codesOf(numbered)).toContain('text-columns-guessed');
  });

  it.each([
    ['x_mm,y_mm,z_mm', 'mm'],
    ['X [m],Y [m],Z [m]', 'm'],
    ['x (inch),y (inch),z (inch)', 'in'],
    ['# unit: cm\nx,y,z', 'cm'],
    ['x,y,z', null],
    ['x_mm,y_m,z_mm', null],
  ] as const)('reads the unit from "%s"', async (names, unit) => {
    expect((await readBytes('u.csv', `${names}\n1,2,3\n4,5,6\n`)).statedUnit).toBe(unit);
  });

  it('names the line of what is no number, or too short', async () => {
    await expect(readBytes('a.xyz', `${'1 2 3\n'.repeat(30_000)}1 two 3\n`)).rejects.toMatchObject({
      code: 'text-line-invalid',
      place: { line: 30_001 },
    });
    await expect(readBytes('a.xyz', `${'1 2 3\n'.repeat(30_000)}1 2\n4 5 6\n`)).rejects.toMatchObject({
      code: 'text-line-invalid',
      place: { line: 30_001 },
    });
  });

  it('loads what is whole of a cut file, and drops missing samples', async () => {
    const cut = await readBytes('a.xyz', '1 2 3\n4 5 6\n7 8');
    expect(cut.positions.length).toBe(6);
    expect(codesOf(cut)).toContain('scan-truncated');
    const missing = await readBytes('a.xyz', '1 2 3\nnan NaN nan\n7 8 9\n');
    expect(missing.counts.pointsDropped).toBe(1);
    const few = await readBytes('a.pts', '5\n1 2 3\n7 8 9\n');
    expect(few.findings.find(({ code }) => code === 'scan-truncated')?.message).toContain(
      'announces 5 points and holds 2',
    );
  });
});
