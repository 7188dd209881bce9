import { describe, expect, it } from 'vitest';
import {
  bytesInMemory,
  readProbedPoints,
  readTargetList,
  toProbedPoints,
  toTargets,
  writeTargetList,
} from '../../src/formats/index.ts';
import { collector, quietContext } from './sample-files.ts';

const source = (text: string) => bytesInMemory('list.csv', new TextEncoder().encode(text));

describe('readTargetList', () => {
  it.each([
    ['names and units', 'name,x_mm,y_mm,z_mm,sigma_mm\nA1,1,2,3,0.02\n"B, 2",4,5,6,0.03\n', 'mm'],
    ['no names', 'A1,1,2,3,0.02\n"B, 2",4,5,6,0.03\n', null],
    ['semicolons and decimal commas', 'Name;X;Y;Z;Sigma\nA1;1,0;2,0;3,00;0,02\nB, 2;4;5;6;0,03\n', null],
    ['a comment with the unit', '# unit: m\nid,x,y,z,sigma\nA1,1,2,3,0.02\n"B, 2",4,5,6,0.03\n', 'm'],
  ] as const)('reads %s', async (_, text, unit) => {
    const list = await readTargetList(source(text));
    expect(list.statedUnit).toBe(unit);
    expect(list.targets).toEqual([
      { name: 'A1', position: [1, 2, 3] },
      { name: 'B, 2', position: [4, 5, 6] },
    ]);
    expect(list.sigmas).toEqual([0.02, 0.03]);
  });

  it('brings positions and sigma to mm, and fills in a missing sigma', async () => {
    const list = await readTargetList(source('name,x,y,z,sigma\n1,1,2,3,0.001\n2,4,5,6,\n'));
    expect(toTargets(list, 'in', 0.05)).toEqual([
      { name: '1', position: [25.4, 50.8, 25.4 * 3], sigma: 25.4 * 0.001 },
      { name: '2', position: [25.4 * 4, 25.4 * 5, 25.4 * 6], sigma: 0.05 },
    ]);
  });

  it.each([
    ['a name twice', 'A,1,2,3\nB,1,2,4\nA,5,6,7\n', 'list-name-twice', 3],
    ['no name', 'A,1,2,3\n,1,2,4\n', 'list-name-missing', 2],
    ['a negative sigma', 'A,1,2,3,0.1\nB,1,2,4,-1\n', 'list-sigma-invalid', 2],
    ['words', 'A,1,2,3\nB,one,2,4\n', 'text-columns-unknown', 1],
  ])('refuses %s with the line', async (_, text, code, line) => {
    await expect(readTargetList(source(text))).rejects.toMatchObject({ code, place: { line } });
  });

  it('refuses an empty list and columns that are missing', async () => {
    await expect(readTargetList(source(''))).rejects.toMatchObject({ code: 'file-empty' });
    await expect(readTargetList(source('name,x,y,height\nA,1,2,3\n'))).rejects.toMatchObject({
      code: 'list-columns-missing',
    });
  });

  it('reads back what it writes', async () => {
    const targets = [
      { name: 'roof 1', position: [1234.5678901, -0.25, 5.4e6] as const, sigma: 0.0123 },
      { name: 'a "quoted", one', position: [0, 0, 0] as const, sigma: 1e-4 },
      { name: '#3', position: [1, 2, 3] as const, sigma: 0.02 },
    ];
    const out = collector();
    await writeTargetList(targets, out.sink, quietContext());
    const list = await readTargetList(bytesInMemory('t.csv', out.bytes()));
    expect(list.statedUnit).toBe('mm');
    const back = toTargets(list, 'mm', 1);
    expect(back.map(({ name, sigma }) => [name, sigma])).toEqual(targets.map(({ name, sigma }) => [name, sigma]));
    back.forEach(({ position }, i) => {
      for (let k = 0; k < 3; k++) expect(Math.abs(position[k] - targets[i].position[k])).toBeLessThanOrEqual(5.1e-7);
    });
  });
});

describe('readProbedPoints', () => {
  it('knows the tip by its column with a unit, and refuses two units in one list', async () => {
    const text = 'feature,x_mm,y_mm,z_mm,tip_radius_mm,sigma_mm\npin 1,1,2,3,1.5,0.01\n';
    const raw = await readProbedPoints(source(text));
    expect(toProbedPoints(raw, 'mm', { tipRadiusMm: 1, sigmaMm: 0.02 })[0]).toMatchObject({
      tipRadius: 1.5,
      sigma: 0.01,
    });
    const mixed = 'feature,x_m,y_m,z_m,tip_radius_mm\npin 1,1,2,3,1.5\n';
    await expect(readProbedPoints(source(mixed))).rejects.toMatchObject({
      code: 'list-units-differ',
    });
  });

  it('reads centres, approach, tip and sigma', async () => {
    const text = 'feature,x_mm,y_mm,z_mm,i,j,k,tip_diameter,sigma\npin 1,1,2,3,0,0,-1,3,0.01\npin 1,4,5,6,,,,,\n';
    const raw = await readProbedPoints(source(text));
    expect(toProbedPoints(raw, 'mm', { tipRadiusMm: 1, sigmaMm: 0.02 })).toEqual([
      { feature: 'pin 1', position: [1, 2, 3], approach: [0, 0, -1], tipRadius: 1.5, sigma: 0.01 },
      { feature: 'pin 1', position: [4, 5, 6], approach: null, tipRadius: 1, sigma: 0.02 },
    ]);
  });

  it('knows the columns by their number when they have no names', async () => {
    const raw = await readProbedPoints(source('plane,1,2,3,1,0,0,1.5,0.01\nplane,2,2,3,1,0,0,1.5,0.01\n'));
    expect(raw.points[1]).toEqual({
      feature: 'plane',
      position: [2, 2, 3],
      approach: [1, 0, 0],
      tipRadius: 1.5,
      sigma: 0.01,
    });
  });

  it('refuses a direction that is none', async () => {
    await expect(readProbedPoints(source('a,1,2,3,1,1,0\n'))).rejects.toMatchObject({
      code: 'list-probed-invalid',
      place: { line: 1 },
    });
  });
});
