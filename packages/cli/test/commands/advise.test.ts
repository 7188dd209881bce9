import { join } from 'node:path';
import type { Vec3 } from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';
import { cabinCovariance, writePlacedJob } from '../../../jobs/test/fixtures/placed-job.ts';
import { lapjoint } from '../fixtures/recorded-console.ts';
import { temporaryFolder } from '../fixtures/small-scans.ts';

const folder = temporaryFolder();
const SESSIONS = [
  { name: 'outside', frame: 'outside', instrument: 'tracked-laser' },
  { name: 'inside', frame: 'inside', instrument: 'structured-light' },
] as const;

/** A wavy sheet of 3000 x 400 mm in steps of 25 mm, so that patches of it hold all directions. */
function sheet(height: number): Vec3[] {
  const points: Vec3[] = [];
  for (let x = 0; x <= 3000; x += 25) {
    for (let y = 0; y <= 400; y += 25) points.push([x, y, height + 40 * Math.sin(x / 90) * Math.cos(y / 70)]);
  }
  return points;
}

async function cabin(name: string, made: Partial<Parameters<typeof writePlacedJob>[1]> = {}): Promise<string> {
  const job = join(folder, name);
  await writePlacedJob(job, {
    sessions: SESSIONS,
    points: [sheet(0), sheet(0)],
    covariance: cabinCovariance(),
    ...made,
  });
  return job;
}

describe('advise', () => {
  it('names the far end as worst, and ties there that lower its uncertainty, best first', async () => {
    const job = await cabin('plain');
    const run = await lapjoint(['advise', job, '--json']);
    expect(run.exitCode).toBe(0);
    const said = JSON.parse(run.out);
    expect(said).toMatchObject({ schema: 'lapjoint/advise', schemaVersion: 1, safeToLeave: null });
    expect(said.worst.frame).toBe('inside');
    expect(said.worst.placeMm[0]).toBeGreaterThan(2700);
    // 0.1 mm of shift and 1e-4 rad at the far corner, k = 2.
    expect(said.worst.expandedParts.tiesMm / (2 * Math.hypot(0.1, 1e-4 * Math.hypot(3000, 400)))).toBeCloseTo(1, 1);
    expect(said.candidates.length).toBeGreaterThan(0);
    for (const candidate of said.candidates) {
      expect(candidate.before).toEqual(said.worst.expandedParts);
      expect(candidate.after.totalMm).toBeLessThanOrEqual(candidate.before.totalMm + 1e-9);
    }
    const left = said.candidates.map((candidate: { after: { totalMm: number } }) => candidate.after.totalMm);
    expect(left).toEqual([...left].sort((a, b) => a - b));
    expect(left[0]).toBeLessThan(0.7 * said.worst.expandedParts.totalMm);
    const text = (await lapjoint(['advise', job])).out;
    expect(text).toContain('Least held by ties:');
    expect(text).not.toContain('safe to leave');
  });

  it('answers whether it is safe to leave: no, with what would do; exit code 4', async () => {
    const job = await cabin('wanted');
    const no = await lapjoint(['advise', job, '--wanted-u', '0.01']);
    expect(no.exitCode).toBe(4);
    expect(no.out).toMatch(/^Is it safe to leave\? No\. It is not safe to leave: the largest U is 0\.\d+ mm/);
    expect(no.out).toContain('No single tie is enough');
    // This job was aligned before its last change as far as its record says: no figure makes it safe.
    const stale = await lapjoint(['advise', job, '--wanted-u', '5', '--json']);
    expect(stale.exitCode).toBe(4);
    expect(JSON.parse(stale.out).safeToLeave).toMatchObject({ answer: false, wantedMm: 5 });
    expect(JSON.parse(stale.out).safeToLeave.words).toContain('align again');
  });

  it('answers yes, with the figure it rests on, when every place keeps the wanted uncertainty', async () => {
    const job = await cabin('good', { isUpToDate: true });
    const run = await lapjoint(['advise', job, '--wanted-u', '2']);
    expect(run.exitCode).toBe(0);
    expect(run.out).toMatch(/^Is it safe to leave\? Yes, it is safe to leave: the largest U is 0\.\d+ mm \(k = 2\)/);
    const [, largest] = /largest U is ([\d.]+) mm/.exec(run.out) ?? [];
    // At the far corner: shift and turn, 100e-6 of the arm along it, and the sheet of the instrument.
    expect(Number(largest)).toBeCloseTo(2 * Math.hypot(0.1, 0.3, 0.05, 0.05 / Math.SQRT2), 1);
    expect((await lapjoint(['advise', job, '--wanted-u', `${Number(largest) * 0.9}`])).exitCode).toBe(4);
  });

  it('says that a tie which stands out, or a frame without a pose, forbids to leave whatever the figures', async () => {
    const tie = {
      id: 'overlap-1',
      kind: 'overlap',
      frameA: 'outside',
      frameB: 'inside',
      scanA: 'scan-1',
      scanB: 'scan-2',
      status: 'used',
      count: 100,
      rms: 0.1,
      largest: 0.3,
      overlapShare: 0.5,
      weakDirections: [],
      redundancy: 3,
      message: '',
    } as const;
    const test = { statistic: 60, degreesOfFreedom: 6, probability: 1e-9, confusedWith: [], detectable: 1, effect: 1 };
    const job = await cabin('bad-tie', {
      isUpToDate: true,
      result: { ties: [{ ...tie, test: { ...test, verdict: 'stands-out' } }] },
    });
    const said = JSON.parse((await lapjoint(['advise', job, '--wanted-u', '50', '--json'])).out);
    expect(said.safeToLeave.answer).toBe(false);
    expect(said.safeToLeave.words).toContain('Tie overlap-1 does not fit the rest');
    expect(said.obstacles).toContainEqual({
      words: expect.stringContaining('temperature of some sessions'),
      forbids: false,
    });
  });

  it('cannot advise a job that is not aligned', async () => {
    const job = join(folder, 'empty');
    await lapjoint(['new', job]);
    const run = await lapjoint(['advise', job]);
    expect(run.exitCode).toBe(1);
    expect(run.error).toContain('not-aligned');
  });
});
