import type { Random } from '../../base/index.ts';
import {
  type AnalyticSheet,
  type CapturedRegion,
  heightOfBumps,
  samplePlaces,
  scatterBumps,
} from './analytic-sheet.ts';
import { type NetworkPlan, type PlannedSession, spreadChoice } from './network-plan.ts';

const LENGTH = 700;
const STEP = 540;
const HEIGHT = 500;

/** Sessions in a row along a bent panel: each overlaps only the next, by 160 mm. */
export function planChainNetwork(frameCount: number, random: Random): NetworkPlan {
  const total = STEP * (frameCount - 1) + LENGTH;
  const bumps = scatterBumps([0, 0], [total, HEIGHT], 170, [50, 65], [12, 25], random);
  const panel: AnalyticSheet = {
    side: 1,
    place: (u, v, out) => {
      out[0] = u;
      out[1] = (u - total / 2) ** 2 / 12_000 + (v - 250) ** 2 / 2500 - heightOfBumps(bumps, u, v, 0);
      out[2] = v;
    },
  };
  const sessions = Array.from({ length: frameCount }, (_, k): PlannedSession => {
    const region: CapturedRegion = {
      sheet: panel,
      from: [STEP * k, 0],
      to: [STEP * k + LENGTH, HEIGHT],
      spacing: 8,
      isSeen: () => true,
    };
    return {
      frame: `frame-${k + 1}`,
      instrument: 'handheld',
      noise: 0.04,
      reach: 150,
      scaleSigma: 30e-6,
      temperature: 23 + 0.2 * (k % 4),
      regions: [region],
      targets: [],
      targetSigma: 0,
      checkPoints: spreadChoice(samplePlaces([{ ...region, spacing: 100 }], random), 16),
    };
  });
  return { family: 'chain', sessions, targets: [], probe: null };
}
