import type { AdjustableObservation, TieResult } from '../model/index.ts';
import { observedPlaces } from './centre-frames.ts';
import type { NetworkUnknowns } from './linear-link.ts';
import type { NetworkModel } from './network-model.ts';
import type { ObservationShare } from './network-residuals.ts';

/** A tie after the adjustment. */
export interface AdjustedTie extends TieResult {
  /** What it is made of; `kind` is the nearest kind of tie that a job knows. */
  readonly observationKind: AdjustableObservation['kind'];
  /** Empty for observations between points alone; `frameA` is then empty too. */
  readonly frames: readonly string[];
  /** Its share of vPv. */
  readonly weightedSumSquares: number;
  /** Its share of the redundancy: how many of its numbers the rest of the network checks. */
  readonly redundancy: number;
  /** Square root of vPv over redundancy: about one when the stated uncertainties are true; null when nothing checks the tie. */
  readonly standardised: number | null;
}

const NEAREST_KIND: Readonly<Record<AdjustableObservation['kind'], TieResult['kind']>> = {
  target: 'targets',
  pair: 'picked',
  overlap: 'overlap',
  prior: 'targets',
  distance: 'targets',
  difference: 'targets',
  'known-point': 'targets',
  probe: 'overlap',
  relation: 'picked',
};

/** Below this a tie is not checked by anything; what is left is rounding. */
const LEAST_REDUNDANCY = 1e-6;

/** Sums the observations of each tie, in the order in which ties first appear. Priors are no ties. */
export function gatherTies(
  model: NetworkModel,
  observations: readonly AdjustableObservation[],
  shares: readonly ObservationShare[],
  unknowns: NetworkUnknowns,
): AdjustedTie[] {
  const byTie = new Map<string, { observations: AdjustableObservation[]; shares: ObservationShare[] }>();
  for (const o of observations) {
    if (o.kind === 'prior') continue;
    const group = byTie.get(o.tie) ?? { observations: [], shares: [] };
    group.observations.push(o);
    byTie.set(o.tie, group);
  }
  for (const s of shares) if (s.kind !== 'prior') byTie.get(s.tie)?.shares.push(s);
  return [...byTie].map(([id, group]) => sumTie(model, id, group.observations, group.shares, unknowns));
}

function sumTie(
  model: NetworkModel,
  id: string,
  observations: readonly AdjustableObservation[],
  shares: readonly ObservationShare[],
  unknowns: NetworkUnknowns,
): AdjustedTie {
  const frames: string[] = [];
  const enter = (frame: string): void => {
    if (!frames.includes(frame)) frames.push(frame);
  };
  const weakDirections: string[] = [];
  let overlapShare: number | null = null;
  let scanA: string | null = null;
  let scanB: string | null = null;
  for (const o of observations) {
    for (const p of observedPlaces(o)) enter(p.frame);
    if (o.kind === 'overlap') {
      scanA ??= o.scanA;
      scanB ??= o.scanB;
      overlapShare = Math.max(overlapShare ?? 0, o.overlapShare);
      for (const word of o.weakDirections) if (!weakDirections.includes(word)) weakDirections.push(word);
    }
  }
  let weightedSumSquares = 0;
  let redundancy = 0;
  let count = 0;
  let square = 0;
  let largest = 0;
  for (const s of shares) {
    weightedSumSquares += s.weightedSumSquares;
    redundancy += s.redundancy;
    const overlap = s.link?.kind === 'overlap' ? s.link.source : null;
    const own = overlap ? overlap.count : 1;
    count += own;
    square += own * s.length * s.length;
    largest = Math.max(largest, overlap ? overlap.largest : s.length);
  }
  const missing = frames.filter((f) => !unknowns.usedFrames[model.frames.indexOf(f)]);
  const first = observations[0] as AdjustableObservation;
  return {
    id,
    kind: NEAREST_KIND[first.kind],
    observationKind: first.kind,
    frameA: frames[0] ?? '',
    frameB: frames[1] ?? frames[0] ?? '',
    frames,
    scanA,
    scanB,
    status: shares.length > 0 ? 'used' : 'rejected',
    count,
    rms: count > 0 ? Math.sqrt(square / count) : 0,
    largest,
    overlapShare,
    weakDirections,
    weightedSumSquares,
    redundancy,
    test: null,
    standardised: redundancy > LEAST_REDUNDANCY ? Math.sqrt(weightedSumSquares / redundancy) : null,
    message: missing.length > 0 ? `Not placed: ${missing.map((f) => `\`${f}\``).join(', ')}.` : '',
  };
}
