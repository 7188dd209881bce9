import type { RunContext } from '../../base/index.ts';
import type { NetworkPlan } from './network-plan.ts';
import { planChainNetwork } from './plan-chain.ts';
import { planDoorNetwork } from './plan-door.ts';
import { planHullNetwork } from './plan-hull.ts';
import { type SimulatedNetwork, simulateNetwork } from './simulate-network.ts';

/** Kinds of networks that stated uncertainties are proven on. */
export const NETWORK_FAMILIES = ['good', 'door', 'chain', 'ring', 'targets', 'mixed'] as const;
export type NetworkFamily = (typeof NETWORK_FAMILIES)[number];

/** Correlation lengths in turn, mm. */
export const NETWORK_CORRELATION_LENGTHS: readonly number[] = [5, 30, 150];

const HANDHELD = { name: 'handheld', noise: 0.04, scaleSigma: 30e-6 };
const TRACKED = { name: 'tracked', noise: 0.03, scaleSigma: 15e-6 };

const DOOR = { stripWidth: 60, backPatch: 0, onlyFarEnd: false };

function planFamily(family: NetworkFamily, number: number, context: RunContext): NetworkPlan {
  const random = context.random(`network/${family}/${number}/plan`);
  // Sizes in turn once all correlation lengths have been through.
  const turn = Math.floor(number / NETWORK_CORRELATION_LENGTHS.length) % 3;
  if (family === 'door') {
    return planDoorNetwork({ ...DOOR, family, targetCount: 0, probedCount: 0 }, random);
  }
  if (family === 'mixed') {
    return planDoorNetwork({ ...DOOR, family, targetCount: 4 + 2 * turn, probedCount: 6 + 2 * turn }, random);
  }
  if (family === 'chain') return planChainNetwork(6 + turn, random);
  const hull = { family, targetCount: 0, targetSigma: 0, isScanned: true };
  if (family === 'ring') {
    return planHullNetwork(
      { ...hull, radius: 650, height: 500, spacing: 9, frameCount: 8, share: 0.17, instruments: [HANDHELD] },
      random,
    );
  }
  const frameCount = 4 + turn;
  const sizes = { radius: 450, height: 600, spacing: 9, frameCount, share: 1.9 / frameCount };
  if (family === 'good') return planHullNetwork({ ...hull, ...sizes, instruments: [HANDHELD, TRACKED] }, random);
  return planHullNetwork(
    { ...hull, ...sizes, instruments: [HANDHELD, TRACKED], targetCount: 36, targetSigma: 0.04, isScanned: false },
    random,
  );
}

/** Job `number` of a family: the same for the same seed. */
export function simulateNetworkOfFamily(
  family: NetworkFamily,
  number: number,
  correlationLength: number | null,
  context: RunContext,
): SimulatedNetwork {
  const length = correlationLength ?? NETWORK_CORRELATION_LENGTHS[number % NETWORK_CORRELATION_LENGTHS.length];
  const plan = planFamily(family, number, context);
  return simulateNetwork(plan, { correlationLength: length, startError: 3 }, `network/${family}/${number}`, context);
}

/**
 * A cabin held around its door, again and again with other errors: what the far end does. The plan is the same each time.
 *
 * @param backPatch width of a second overlap at the far end, mm; 0: none
 */
export function simulateLeverNetwork(
  number: number,
  correlationLength: number,
  backPatch: number,
  context: RunContext,
): SimulatedNetwork {
  const door = { ...DOOR, family: 'lever', targetCount: 0, probedCount: 0, backPatch, onlyFarEnd: true };
  const plan = planDoorNetwork(door, context.random('network/lever/plan'));
  return simulateNetwork(plan, { correlationLength, startError: 3 }, `network/lever/${backPatch}/${number}`, context);
}
