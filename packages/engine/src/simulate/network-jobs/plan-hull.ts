import type { Random } from '../../base/index.ts';
import {
  type AnalyticSheet,
  type CapturedRegion,
  heightOfBumps,
  samplePlaces,
  scatterBumps,
} from './analytic-sheet.ts';
import { type NetworkPlan, type PlannedSession, spreadChoice } from './network-plan.ts';

/** A round hull with bumps and dents, and how sessions go around it. Lengths mm, angles in turns. */
export interface HullNetwork {
  readonly family: string;
  readonly radius: number;
  readonly height: number;
  readonly spacing: number;
  readonly frameCount: number;
  /** Share of the whole round that one session sees. */
  readonly share: number;
  /** Instruments in turn. */
  readonly instruments: readonly { readonly name: string; readonly noise: number; readonly scaleSigma: number }[];
  readonly targetCount: number;
  readonly targetSigma: number;
  readonly isScanned: boolean;
}

/** Sessions all round a hull: each overlaps its neighbours, the last closes the round. */
export function planHullNetwork(network: HullNetwork, random: Random): NetworkPlan {
  const { radius, height, spacing, frameCount, share } = network;
  const around = 2 * Math.PI * radius;
  const bumps = scatterBumps([0, 0], [around, height], 220, [60, 80], [12, 28], random);
  const hull: AnalyticSheet = {
    side: 1,
    place: (u, v, out) => {
      const r = radius + heightOfBumps(bumps, u, v, around);
      out[0] = r * Math.cos(u / radius);
      out[1] = r * Math.sin(u / radius);
      out[2] = v;
    },
  };
  const half = (share * around) / 2;
  // One target to each equal part of the round: none of the sessions is left with too few.
  const targetPlaces = Array.from({ length: network.targetCount }, (_, k) => [
    (around * (k + random.uniform())) / network.targetCount,
    height * random.uniform(),
  ]);
  const out = new Float64Array(3);
  const targets = targetPlaces.map(([u, v]): [number, number, number] => {
    hull.place(u, v, out);
    return [out[0], out[1], out[2]];
  });
  const sessions = Array.from({ length: frameCount }, (_, k): PlannedSession => {
    const middle = (around * k) / frameCount;
    const region: CapturedRegion = {
      sheet: hull,
      from: [middle - half, 0],
      to: [middle + half, height],
      spacing,
      isSeen: () => true,
    };
    const instrument = network.instruments[k % network.instruments.length];
    const seen = targetPlaces.flatMap(([u], target) => {
      const du = u - middle - around * Math.round((u - middle) / around);
      return Math.abs(du) <= half && random.uniform() < 0.9 ? [target] : [];
    });
    return {
      frame: `frame-${k + 1}`,
      instrument: instrument.name,
      noise: instrument.noise,
      reach: 150,
      scaleSigma: instrument.scaleSigma,
      temperature: 23 + (k % 3) * 0.3,
      regions: network.isScanned ? [region] : [],
      targets: seen,
      targetSigma: network.targetSigma,
      checkPoints: spreadChoice(samplePlaces([{ ...region, spacing: height / 6 }], random), 16),
    };
  });
  return { family: network.family, sessions, targets, probe: null };
}
