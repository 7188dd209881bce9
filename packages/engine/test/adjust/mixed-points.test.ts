import {
  type AdjustableObservation,
  type AdjustNetworkOptions,
  adjustNetwork,
  invert,
  isotropicCovariance,
  makeRandom,
  makeRunContext,
  type NetworkAdjustment,
  type Pose,
  pointUncertainty,
  transformPoint,
  type Vec3,
} from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';
import { place, randomPose } from './network-scene.ts';

const SCALE = 4e-4;
const FRAMES = ['a', 'b', 'c'];
const FAR: Vec3 = [1e7, -1e7, 1e7];
const ORIGIN: Vec3 = [0, 0, 0];

/** Three frames, eight targets, two scale bars between targets, three control points; frame b is too long by 0.4 per mille. */
function makeNetwork(unit: number, offset: Vec3): { observations: AdjustableObservation[]; poses: Map<string, Pose> } {
  const random = makeRandom(21, 'mixed');
  const poses = new Map(FRAMES.map((f) => [f, randomPose(random, 500)]));
  const points = Array.from({ length: 8 }, () => place(random, 3000));
  const noise = (p: Vec3, sigma: number): Vec3 => p.map((v) => unit * (v + sigma * random.normal())) as unknown as Vec3;
  const observations: AdjustableObservation[] = [];
  for (const frame of FRAMES) {
    points.forEach((p, t) => {
      const s = 1 + (frame === 'b' ? SCALE : 0);
      const local = transformPoint(invert(poses.get(frame)!), p).map((v) => v * s) as unknown as Vec3;
      observations.push({
        kind: 'target',
        tie: `list ${frame}`,
        frame,
        target: `T${t}`,
        position: noise(local, 0.02),
        covariance: isotropicCovariance(0.02 * unit),
      });
    });
  }
  for (const [i, j] of [
    [0, 1],
    [2, 3],
  ] as const) {
    const d = Math.hypot(...points[i]!.map((v, k) => v - points[j]![k]!));
    observations.push({
      kind: 'distance',
      tie: 'bar',
      pointA: `T${i}`,
      pointB: `T${j}`,
      distance: unit * (d + 0.01 * random.normal()),
      sigma: 0.01 * unit,
    });
  }
  for (const t of [0, 4, 5]) {
    const position = noise(points[t]!, 0.05).map((v, k) => v + unit * offset[k]!) as unknown as Vec3;
    const w = 1 / (0.05 * unit) ** 2;
    observations.push({
      kind: 'known-point',
      tie: 'control',
      point: `T${t}`,
      position,
      information: [w, 0, 0, 0, w, 0, 0, 0, w],
    });
  }
  return { observations, poses };
}

const run = (
  observations: readonly AdjustableObservation[],
  options: Partial<AdjustNetworkOptions> = {},
): Promise<NetworkAdjustment> =>
  adjustNetwork(
    observations,
    {
      datum: { kind: 'priors' },
      enlarge: 'never',
      frames: FRAMES.map((frame) => ({ frame, centre: [0, 0, 0], radius: null })),
      scaleTerms: [{ name: 'b', sigma: 1e-3, coefficients: new Map([['b', 1]]), isEstimated: true }],
      ...options,
    },
    makeRunContext(),
  );

/** Standard deviations of everything, and differences of targets, which no shift of the job changes. */
function summary(r: NetworkAdjustment, unit: number): number[] {
  const first = r.targets.find((t) => t.name === 'T0')!.position;
  const names = Array.from({ length: 8 }, (_, t) => `T${t}`);
  return [
    r.weightedSumSquares,
    r.scales[0]!.value * 1e4,
    r.scales[0]!.sigma * 1e6,
    ...names.flatMap((n) => {
      const t = r.targets.find((x) => x.name === n)!;
      return [...t.position.map((v, k) => (v - first[k]!) / unit), ...t.covariance.map((c) => (c / unit ** 2) * 1e4)];
    }),
    ...FRAMES.flatMap((f) => {
      const at = r.frames.find((x) => x.frame === f)!.covarianceReference!;
      return pointUncertainty(r.jointCovariance!, f, at)!.covariance.map((c) => (c / unit ** 2) * 1e4);
    }),
  ];
}

describe('frames, scale bars and control points together', () => {
  it('the scale is found, control holds the job, and every number is checked', async () => {
    const { observations, poses } = makeNetwork(1, ORIGIN);
    const result = await run(observations);
    expect(result.converged).toBe(true);
    expect(result.refusedPoints).toEqual([]);
    expect(Math.abs(result.scales[0]!.value - SCALE)).toBeLessThan(4 * result.scales[0]!.sigma);
    expect(result.scales[0]!.sigma).toBeLessThan(2e-5);
    // 72 target coordinates, 2 bars, 9 control numbers, the scale's own; 18 + 24 + 1 unknowns.
    expect(result.redundancy).toBe(72 + 2 + 9 + 1 - 43);
    const sum = result.scalars.reduce((total, s) => total + s.redundancy, 0);
    const ofPrior = 1 - result.scales[0]!.sigma ** 2 / 1e-6;
    expect(Math.abs(sum + ofPrior - result.redundancy)).toBeLessThan(1e-6);
    expect(result.globalTestProbability).toBeGreaterThan(0.001);
    for (const f of result.frames) {
      const truth = transformPoint(poses.get(f.frame)!, ORIGIN);
      const off = f.covarianceReference!.map((v, k) => v - truth[k]!);
      off.forEach((v, k) => {
        expect(Math.abs(v)).toBeLessThan(4.5 * Math.sqrt(f.covariance![7 * k]!));
      });
    }
    // Fixed control is never looser than uncertain control.
    const fixed = observations.map((o) => (o.kind === 'known-point' ? { ...o, information: 'fixed' as const } : o));
    const held = await run(fixed);
    expect(held.targets.find((t) => t.name === 'T4')!.covariance.every((c) => c === 0)).toBe(true);
    expect(held.frames[0]!.covariance![0]).toBeLessThan(result.frames[0]!.covariance![0]!);
  });

  it('millimetres or metres, the job 1e7 away, any order: the same network', async () => {
    const base = summary(await run(makeNetwork(1, ORIGIN).observations), 1);
    for (const [unit, offset, reversed, tolerance] of [
      [1e-3, ORIGIN, false, 1e-9],
      [1, ORIGIN, true, 1e-9],
      // Coordinates near 1e7 carry 2e-9 of their own.
      [1, FAR, false, 3e-8],
    ] as const) {
      const { observations } = makeNetwork(unit, offset);
      const other = summary(await run(reversed ? [...observations].reverse() : observations), unit);
      other.forEach((v, k) => {
        expect(Math.abs(v - base[k]!)).toBeLessThan(tolerance * Math.max(10, Math.abs(base[k]!)));
      });
    }
  });

  it('inner constraints over chosen points, frames free to follow: trace over them least', async () => {
    const { observations } = makeNetwork(1, ORIGIN);
    const free = observations.filter((o) => o.kind !== 'known-point');
    const chosen = ['T0', 'T1', 'T2', 'T3'];
    const start = makeNetwork(1, ORIGIN).poses;
    const trace = (r: NetworkAdjustment): number =>
      chosen.reduce((sum, n) => {
        const c = r.targets.find((t) => t.name === n)!.covariance;
        return sum + c[0]! + c[4]! + c[8]!;
      }, 0);
    const inner = await run(free, { datum: { kind: 'inner-constraints', points: chosen }, start });
    const byFrames = await run(free, { datum: { kind: 'inner-constraints' }, start });
    const held = await run(free, { datum: { kind: 'fixed-frame', frame: 'a' }, start });
    expect(inner.redundancy).toBe(held.redundancy);
    expect(Math.abs(inner.weightedSumSquares - held.weightedSumSquares)).toBeLessThan(1e-8);
    expect(trace(inner)).toBeLessThan(trace(byFrames));
    expect(trace(inner)).toBeLessThan(trace(held));
  });

  it('what has no place or no hold is named', async () => {
    const bar: AdjustableObservation = {
      kind: 'distance',
      tie: 'bar',
      pointA: 'P',
      pointB: 'Q',
      distance: 1000,
      sigma: 0.01,
    };
    const fixed: AdjustableObservation = {
      kind: 'known-point',
      tie: 'c',
      point: 'P',
      position: ORIGIN,
      information: 'fixed',
    };
    const lost = await run([bar, fixed], { frames: [] });
    expect(lost.refusedPoints.map((p) => p.message)).toEqual(['Nothing says where point `Q` is.']);
    const loose = await run([bar, fixed], { frames: [], startPoints: new Map([['Q', [1000, 0, 0]]]) });
    expect(loose.refusedPoints.map((p) => p.message)).toEqual(['Nothing holds point `Q` along Y, along Z.']);
  });
});
