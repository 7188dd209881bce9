import { bytesInMemory } from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';
import { detectInputKind } from '../../src/index.ts';

const kindOf = (name: string, text: string): Promise<string> =>
  detectInputKind(bytesInMemory(name, new TextEncoder().encode(text)));

describe('detectInputKind', () => {
  it.each([
    ['names in front', 'a.csv', 'T1,0,0,0\nT2,10,0,0\n', 'targets'],
    ['names and sigma', 'a.csv', 'T1;0,5;0;0;0,02\nT2;10;0;0;0,02\n', 'targets'],
    ['a column called name', 'a.csv', 'name,x_mm,y_mm,z_mm\n1,0,0,0\n2,1,0,0\n', 'targets'],
    ['a column called target, with units', 'a.txt', 'Target\tX [mm]\tY [mm]\tZ [mm]\n1\t0\t0\t0\n', 'targets'],
    ['approach directions', 'a.csv', 'feature,x,y,z,i,j,k,tip_radius\npin,0,0,0,0,0,1,3\n', 'probe'],
    ['seven columns after a name', 'a.csv', 'pin,0,0,0,0,0,1\npin,1,0,0,0,0,1\n', 'probe'],
    ['columns of a cloud', 'a.csv', 'x,y,z,red,green,blue\n0,0,0,1,2,3\n', 'scan'],
    ['numbers only', 'a.csv', '0.5,0,0\n1,0,0\n', 'scan'],
    ['numbers with intensity', 'a.txt', '0.5 0 0 17\n1 0 0 18\n', 'scan'],
    ['comments before the data', 'a.csv', '# unit: mm\n# export\nT1,0,0,0\n', 'targets'],
    ['a byte order mark', 'a.csv', '\ufeffname,x,y,z\nT1,0,0,0\n', 'targets'],
    ['any other ending, whatever is in it', 'a.obj', 'v 0 0 0\nv 1 0 0\n', 'scan'],
  ])('%s: %s', async (_, name, text, kind) => {
    expect(await kindOf(name, text)).toBe(kind);
  });

  it('asks when numbered rows may be targets or a cloud', async () => {
    await expect(kindOf('a.csv', '1,0,0,0\n2,10,0,0\n3,0,10,0\n')).rejects.toMatchObject({ code: 'kind-unknown' });
    const long = Array.from({ length: 5000 }, (_, i) => `${i},0,${i % 7},1\n`).join('');
    expect(await kindOf('a.csv', long)).toBe('scan');
  });
});
