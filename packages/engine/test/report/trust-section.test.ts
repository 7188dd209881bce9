import {
  type AlignmentResult,
  formatUncertainty,
  IDENTITY_POSE,
  type ReportInput,
  type ReportTrust,
  renderReport,
  type TieResult,
  type TieTest,
} from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';
import { errorFigure, layOutNetwork } from '../../src/report/network-places.ts';
import { bandColor, mapScale } from '../../src/report/pictures.ts';
import { formatProbability, testRemarks } from '../../src/report/test-remarks.ts';

function tie(
  id: string,
  frameA: string,
  frameB: string,
  verdict: TieTest['verdict'] | null,
  confused: string[] = [],
): TieResult {
  return {
    id,
    kind: 'overlap',
    frameA,
    frameB,
    scanA: null,
    scanB: null,
    status: 'used',
    count: 1000,
    rms: 0.04,
    largest: 0.2,
    overlapShare: 0.12,
    weakDirections: [],
    redundancy: 3,
    test:
      verdict === null
        ? null
        : {
            verdict,
            statistic: 3,
            degreesOfFreedom: 6,
            probability: verdict === 'agrees' ? 0.4 : 0.0002,
            confusedWith: confused,
            detectable: 0.125,
            effect: 0.25,
          },
    message: '',
  };
}

function alignment(
  names: readonly string[],
  ties: readonly TieResult[],
  refused: readonly string[] = [],
): AlignmentResult {
  return {
    frames: [...names, ...refused].map((frame, i) => ({
      frame,
      jobFromFrame: refused.includes(frame) ? null : IDENTITY_POSE,
      covariance: null,
      covarianceReference: null,
      status: refused.includes(frame) ? 'refused' : i === 0 ? 'fixed' : 'adjusted',
      message: '',
      remedy: '',
      rivals: [],
    })),
    ties,
    closures: [],
    varianceFactor: 1,
    redundancy: 6,
    iterations: 3,
    converged: true,
    jointCovariance: null,
    globalTest: null,
    varianceComponents: [],
    instrumentErrors: [],
    movedParts: [],
  };
}

const trust: ReportTrust = {
  framePlaces: [],
  tiePlaces: [
    { tie: 'first', place: [0, 0, 0], hold: 0.02 },
    { tie: 'second', place: [0, 0, 0], hold: 0.2 },
  ],
  lengthTerms: [{ name: 'scale of handheld-laser', sigma: 3e-5, frames: ['roof'], isEstimated: false }],
  temperatures: [],
  largestLength: 4000,
  advice: {
    worst: { words: 'Frame roof, towards +X.', uncertainty: { total: 0.4 } },
    candidates: [{ words: 'One target on the roof.', remark: '', after: { total: 0.1 }, largestAfter: 0.2 }],
    remark: '',
  },
};

function report(result: AlignmentResult, more: ReportTrust | undefined): string {
  const input: ReportInput = {
    jobName: 'job',
    version: '0',
    seed: 1,
    date: '2026-01-01',
    scans: [],
    lists: [],
    alignment: result,
    reaches: [],
    surfaces: [],
    fused: null,
    findings: [],
    truth: null,
    commands: [],
    ...(more === undefined ? {} : { trust: more }),
  };
  return renderReport(input);
}

describe('tests in plain words', () => {
  const frames = ['floor', 'wall', 'roof'];
  const outcomes = (result: AlignmentResult): string[] =>
    testRemarks(result, result.ties).map((remark) => `${remark.name}: ${remark.outcome}`);

  it('says that nothing was checked where nothing was', () => {
    const result = alignment(frames, [tie('a', 'floor', 'wall', 'not-checked'), tie('b', 'wall', 'roof', null)]);
    expect(outcomes(result)).toEqual(['All ties together: not checked', 'Ties that stand alone: not checked']);
  });

  it('passes only what passed', () => {
    const good = {
      ...alignment(frames, [tie('a', 'floor', 'wall', 'agrees')]),
      globalTest: { statistic: 5, degreesOfFreedom: 6, probability: 0.54, level: 0.05 },
    };
    expect(outcomes(good)).toEqual(['All ties together: passed', 'Each tie against the others: passed']);
    const bad = { ...good, globalTest: { statistic: 30, degreesOfFreedom: 6, probability: 0.00004, level: 0.05 } };
    expect(outcomes(bad)[0]).toBe('All ties together: not passed');
    expect(testRemarks(bad, bad.ties)[0]?.text).toContain('less than 0.1 % of good jobs');
  });

  it('names the tie that stands out, and the two between which nobody can tell', () => {
    const out = alignment(frames, [tie('a', 'floor', 'wall', 'agrees'), tie('b', 'wall', 'roof', 'stands-out')]);
    expect(testRemarks(out, out.ties).find((r) => r.outcome === 'not passed')?.text).toContain('Tie 2 (wall – roof)');
    const either = alignment(frames, [
      tie('a', 'floor', 'wall', 'cannot-tell', ['b']),
      tie('b', 'floor', 'wall', 'cannot-tell', ['a']),
    ]);
    expect(outcomes(either)).toEqual(['All ties together: not checked', 'Which tie is wrong: cannot tell']);
  });

  it('gives probabilities no more digits than they have', () => {
    expect([0.00002, 0.0234, 0.44, 0.99999].map(formatProbability)).toEqual([
      'less than 0.1 %',
      '2.3 %',
      '44 %',
      'more than 99.9 %',
    ]);
    expect([0.04213, 1.26, 0].map(formatUncertainty)).toEqual(['0.042', '1.3', '0']);
  });
});

describe('the network as a drawing', () => {
  const places = (roofX: number) => [
    { frame: 'floor', middle: [0, 0, 0] as const, middleCovariance: null, farEnd: null, farEndCovariance: null },
    { frame: 'roof', middle: [roofX, 500, 0] as const, middleCovariance: null, farEnd: null, farEndCovariance: null },
  ];
  const two = alignment(['floor', 'roof'], [tie('first', 'floor', 'roof', 'agrees')]);

  it('is a plan to scale where the frames lie apart, else arranged', () => {
    const plan = layOutNetwork(two, places(2000));
    expect(plan.mmPerPixel).not.toBeNull();
    const [floor, roof] = plan.stations;
    expect(((roof?.x ?? 0) - (floor?.x ?? 0)) * (plan.mmPerPixel ?? 0)).toBeCloseTo(2000, 6);
    // Y points up on paper.
    expect(roof?.y).toBeLessThan(floor?.y ?? 0);
    expect(layOutNetwork(two, places(1)).mmPerPixel).not.toBeNull();
    const above = places(0).map((p) => ({ ...p, middle: [0, 0, 0] as const }));
    expect(layOutNetwork(two, above).mmPerPixel).toBeNull();
  });

  it('draws frames that were not placed apart from the net, and says so', () => {
    const html = report(alignment(['floor', 'roof'], [tie('first', 'floor', 'roof', 'agrees')], ['tail']), trust);
    expect(html).toContain('tail (not placed)');
  });

  it('draws the firmer tie wider, and doubtful ones dashed', () => {
    const html = report(
      alignment(
        ['floor', 'wall', 'roof'],
        [tie('first', 'floor', 'wall', 'agrees'), tie('second', 'wall', 'roof', 'stands-out')],
      ),
      trust,
    );
    const net = /<figure id="network">.*?<\/svg>/s.exec(html)?.[0] ?? '';
    const width = (kind: string): number =>
      Number(new RegExp(`class="tie ${kind}" stroke-width="([\\d.]+)"`).exec(net)?.[1]);
    expect(width('sound')).toBeGreaterThan(3 * width('doubtful'));
    expect(net).toMatch(/class="tie doubtful" stroke-width="[\d.]+" stroke-dasharray/);
    expect(net).not.toMatch(/class="tie sound" stroke-width="[\d.]+" stroke-dasharray/);
    expect(net).toContain('href="#tie-second"');
    expect(html).toContain('id="tie-second"');
  });

  it('has the axes of the plan ellipse that the covariance has', () => {
    // Sigmas 0.3 along 30 degrees and 0.1 across.
    const [c, s] = [Math.cos(Math.PI / 6), Math.sin(Math.PI / 6)];
    const xx = 0.09 * c * c + 0.01 * s * s;
    const yy = 0.09 * s * s + 0.01 * c * c;
    const xy = (0.09 - 0.01) * c * s;
    const figure = errorFigure([xx, xy, 0, xy, yy, 0, 0, 0, 0.04]);
    expect(figure?.major).toBeCloseTo(0.6, 12);
    expect(figure?.minor).toBeCloseTo(0.2, 12);
    expect(Math.tan(figure?.direction ?? 0)).toBeCloseTo(Math.tan(Math.PI / 6), 12);
    expect(figure?.height).toBeCloseTo(0.4, 12);
  });
});

describe('the chapter', () => {
  it('stands without anything but the alignment', () => {
    const html = report(alignment(['floor'], []), undefined);
    expect(html).toContain('How far it can be trusted');
    expect(html).not.toContain('What would help most');
    expect(html).not.toMatch(/NaN|undefined|Infinity/);
  });

  it('carries every number with its unit', () => {
    const html = report(alignment(['floor', 'roof'], [tie('first', 'floor', 'roof', 'agrees')]), trust);
    for (const text of ['0.020 mm', '0.13 mm', '0.25 mm', '60 µm per m', '0.24 mm', '0.40 mm', '0.10 mm'])
      expect(html).toContain(text);
    expect(html).not.toMatch(/NaN|undefined|Infinity/);
  });
});

describe('maps', () => {
  it('have five to ten bands with round steps that reach the 99 % value', () => {
    for (const high of [0.0113, 0.053, 0.1, 0.74, 3.3, 9.99]) {
      const { step, count } = mapScale(Float32Array.from({ length: 1000 }, (_, i) => (high * i) / 1000));
      const lead = step / 10 ** Math.floor(Math.log10(step) + 1e-9);
      expect([1, 2, 5].some((l) => Math.abs(lead - l) < 1e-6)).toBe(true);
      expect(step * count).toBeGreaterThanOrEqual(0.98 * high);
      expect(count).toBeGreaterThanOrEqual(4);
      expect(count).toBeLessThanOrEqual(10);
    }
  });

  it('go from dark to light', () => {
    const lightness = [0, 1, 2, 3, 4, 5].map((i) => bandColor(i, 6).reduce((a, b) => a + b, 0));
    for (let i = 1; i < 6; i++) expect(lightness[i]).toBeGreaterThan(lightness[i - 1] as number);
    expect(bandColor(99, 6)).toEqual(bandColor(5, 6));
  });
});
