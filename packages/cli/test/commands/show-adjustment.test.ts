import { join } from 'node:path';
import { describe, expect, it } from 'vitest';
import { cabinCovariance, writePlacedJob } from '../../../jobs/test/fixtures/placed-job.ts';
import { lapjoint } from '../fixtures/recorded-console.ts';
import { temporaryFolder } from '../fixtures/small-scans.ts';

const job = join(temporaryFolder(), 'cabin');
const TIE = {
  kind: 'overlap',
  frameA: 'outside',
  frameB: 'inside',
  scanA: 'scan-1',
  scanB: 'scan-2',
  status: 'used',
  count: 1200,
  rms: 0.051,
  largest: 0.2,
  overlapShare: 0.21,
  weakDirections: [],
  redundancy: 4.5,
  message: '',
} as const;

await writePlacedJob(job, {
  sessions: [
    { name: 'outside', frame: 'outside', instrument: 'tracked-laser' },
    { name: 'inside', frame: 'inside', instrument: 'structured-light' },
  ],
  points: [[[0, 0, 0]], [[1, 0, 0]]],
  covariance: cabinCovariance(),
  isUpToDate: true,
  instrumentErrors: [
    {
      instrument: 'structured-light',
      white: 0.02,
      fields: [{ sigma: 0.04, length: 85 }],
      overlapCount: 2,
      patchCount: 240,
    },
  ],
  result: {
    ties: [
      {
        ...TIE,
        id: 'overlap-1',
        test: {
          verdict: 'cannot-tell',
          statistic: 40,
          degreesOfFreedom: 6,
          probability: 1e-6,
          confusedWith: ['overlap-2'],
          detectable: 0.124,
          effect: 0.3,
        },
      },
      { ...TIE, id: 'overlap-2', test: null },
    ],
    globalTest: { statistic: 31.2, degreesOfFreedom: 9, probability: 0.0003, level: 0.05 },
    varianceComponents: [
      { group: 'overlap, structured-light', factor: 3.47, uncertainty: 0.9, redundancy: 7.5, observationCount: 12 },
      { group: 'target', factor: 1, uncertainty: null, redundancy: 1.5, observationCount: 6 },
    ],
    movedParts: [
      {
        scanA: 'scan-1',
        scanB: 'scan-2',
        share: 0.13,
        middle: [1203.6, -40.2, 880],
        motion: { rotation: [Math.cos(0.004), 0, 0, Math.sin(0.004)], translation: [1, 2, 3] },
        angle: 0.008,
        shift: 4.2,
        freeDirections: [],
      },
    ],
  },
});

describe('show after the adjustment', () => {
  it('prints tests, components, errors of instruments and moved parts with units in the keys', async () => {
    const shown = JSON.parse((await lapjoint(['show', job, '--json'])).out);
    expect(shown.ties[0].test).toEqual({
      verdict: 'cannot-tell',
      statistic: 40,
      degreesOfFreedom: 6,
      probability: 1e-6,
      confusedWith: ['overlap-2'],
      detectableMm: 0.124,
      effectMm: 0.3,
    });
    expect(shown.ties[1]).toMatchObject({ redundancy: 4.5, test: null });
    expect(shown.adjustment).toMatchObject({
      upToDate: true,
      covarianceSha256: expect.stringMatching(/^[0-9a-f]{64}$/),
      globalTest: { passed: false, degreesOfFreedom: 9, level: 0.05 },
      varianceComponents: [{ factor: 3.47, observations: 12 }, { uncertainty: null }],
      instrumentErrors: [
        { instrument: 'structured-light', independentMm: 0.02, correlated: [{ sigmaMm: 0.04, lengthMm: 85 }] },
      ],
      movedParts: [{ scans: ['scan-1', 'scan-2'], shiftMm: 4.2, middleMm: [1203.6, -40.2, 880] }],
    });
    // 0.008 rad.
    expect(shown.adjustment.movedParts[0].angleDeg).toBeCloseTo(0.45837, 5);
    expect(shown.adjustment.movedParts[0].motion).toHaveLength(16);
  });

  it('says the same in words', async () => {
    const { out } = await lapjoint(['show', job]);
    expect(out).toContain('this or overlap-2');
    expect(out).toContain('0.12 mm');
    expect(out).toContain('they CONTRADICT each other');
    expect(out).toContain('chance of this much by accident 0.03 %');
    expect(out).toContain('Moved part: 13 % of scan-1 about (1204, -40, 880) mm stood elsewhere in scan-2');
    expect(out).toMatch(/overlap, structured-light +3\.47 +0\.90 +7\.50/);
    expect(out).toMatch(/target +1\.00 +too few to say/);
    expect(out).toMatch(/structured-light +0\.0200 mm +0\.0400 mm \(85\) +2 overlaps, 240 patches/);
  });
});
