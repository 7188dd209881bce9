import { describe, expect, it } from 'vitest';
import { toScanData, unitProposal } from '../../src/formats/index.ts';
import { readBytes } from './sample-files.ts';

/** A box of the given size, sampled with 4900 points. */
function cloud(size: readonly number[], scale: number): string {
  const lines: string[] = [];
  for (let i = 0; i < 4_900; i++) {
    const p = [(i % 70) / 69, Math.floor(i / 70) / 69, i % 2];
    lines.push(p.map((value, k) => Number((value * size[k] * scale).toPrecision(12))).join(' '));
  }
  return `${lines.join('\n')}\n`;
}

describe('unitProposal', () => {
  const size = [2400, 1800, 1500];

  it.each([
    ['mm', 1],
    ['m', 0.001],
  ] as const)('proposes %s for a cabin, and says the size in it [field report 4]', async (unit, scale) => {
    const raw = await readBytes('c.xyz', cloud(size, scale));
    const proposal = unitProposal(raw);
    expect(proposal).toMatchObject({ status: 'proposed', unit });
    expect(proposal.question).toContain('2400 × 1800 × 1500 mm');
    expect(proposal.candidates.find((candidate) => candidate.unit === 'in')?.sizeMm[0]).toBeCloseTo(
      2400 * scale * 25.4,
      6,
    );
  });

  it.each([
    ['m', 0.001],
    ['in', 1 / 25.4],
    ['cm', 0.1],
    ['mm', 1],
  ] as const)(
    'finds %s from the size of the other scans: factors 1000, 25.4, 10 [field report 4]',
    async (unit, scale) => {
      const raw = await readBytes('c.xyz', cloud(size, scale));
      expect(unitProposal(raw, 2500).unit).toBe(unit);
    },
  );

  it('proposes nothing where nothing fits, and never scales by itself', async () => {
    const raw = await readBytes('c.xyz', '0 0 0\n1e-7 0 0\n0 1e-7 0\n');
    expect(unitProposal(raw)).toMatchObject({ status: 'open', unit: null });
    expect([...raw.positions]).toEqual([0, 0, 0, 1e-7, 0, 0, 0, 1e-7, 0]);
  });

  it('repeats what the file states', async () => {
    const raw = await readBytes('c.csv', 'x_in,y_in,z_in\n0,0,0\n10,0,0\n0,10,0\n');
    expect(unitProposal(raw)).toMatchObject({ status: 'stated', unit: 'in' });
  });
});

describe('toScanData', () => {
  it('is the same for mm and m, and for an origin moved by 1e7, up to float32 of the relative coordinate', async () => {
    const size = [2400, 1800, 1500];
    const base = toScanData(await readBytes('c.xyz', cloud(size, 1)), 'mm');
    const metres = toScanData(await readBytes('c.xyz', cloud(size, 0.001)), 'm');
    const moved = cloud(size, 1).replaceAll(/^(\S+)/gm, (x) => String(Number(x) + 1e7));
    const far = toScanData(await readBytes('c.xyz', moved), 'mm');
    expect(far.origin[0] - base.origin[0]).toBeCloseTo(1e7, 6);
    const largestDifference = (other: Float32Array): number =>
      other.reduce((largest, value, i) => Math.max(largest, Math.abs(value - base.positions[i])), 0);
    expect(largestDifference(metres.positions)).toBeLessThanOrEqual(1200 * 2 ** -23);
    expect(largestDifference(far.positions)).toBeLessThanOrEqual(1200 * 2 ** -23);
  });

  it('puts the origin into the middle of the box', async () => {
    const scan = toScanData(await readBytes('c.xyz', '0 0 0\n10 20 40\n5 5 5\n'), 'cm');
    expect(scan.origin).toEqual([50, 100, 200]);
    expect([...scan.positions.subarray(0, 6)]).toEqual([-50, -100, -200, 50, 100, 200]);
  });
});
