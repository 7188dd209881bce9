import type { InstrumentErrors } from '../model/index.ts';
import { type ErrorCandidates, errorCandidates } from './error-candidates.ts';
import type { ErrorLikelihood, LikelihoodTask } from './error-likelihood.ts';
import { independentErrors } from './patch-covariance.ts';
import type { OverlapErrors, PatchedOverlap } from './patched-overlap.ts';

/** What the overlaps of a job say about the errors in them. */
export interface LearnedErrors {
  /** In the order of the overlaps. */
  readonly overlaps: readonly OverlapErrors[];
  readonly instruments: readonly InstrumentErrors[];
}

/** Works out likelihoods, in the order of the tasks; on one thread or many. */
export type RunLikelihoods = (tasks: readonly LikelihoodTask[]) => Promise<readonly ErrorLikelihood[]>;

/** A field much shorter than this cannot be told from what smoothing makes of independent errors. */
const SHORTEST_OF_SMOOTHING = 1.3;

/** Fields whose share of the variance is smaller than this are left out: they change nothing. */
const LEAST_SHARE = 1e-4;

/**
 * Learns how the errors of each instrument hang together, from all overlaps at once.
 *
 * Method   candidates (correlation length, strength) are weighed by the restricted likelihood of the patch means, added up over
 *          all overlaps of the same two instruments, and by their prior; the result is the mean covariance over the
 *          candidates. A linear estimate has exactly that mean as its mean squared error, so the spread of the candidates is in it.
 * Assumes  errors along the normal, stationary, the same for all scans of an instrument; two scans' errors independent.
 */
export async function learnErrors(
  overlaps: readonly PatchedOverlap[],
  runLikelihoods: RunLikelihoods,
): Promise<LearnedErrors> {
  const results = new Array<OverlapErrors>(overlaps.length);
  const sums = new Map<string, InstrumentSum>();
  for (const pool of poolsOf(overlaps).values()) {
    const members = pool.map((index) => overlaps[index]);
    const candidates = candidatesOf(members);
    const likelihoods = await runLikelihoods(
      members.map((o) => ({ patches: o.patches, smoothing: o.smoothing, noise: noiseOf(o), candidates })),
    );
    const posterior = posteriorOf(candidates, likelihoods, independentShare(members));
    members.forEach((overlap, k) => {
      const mean = meanErrors(overlap, candidates, posterior, likelihoods[k]);
      results[pool[k]] = mean.errors;
      addTo(sums, overlap, mean);
    });
  }
  return { overlaps: results, instruments: [...sums.values()].map(instrumentOf) };
}

function noiseOf(overlap: PatchedOverlap): number {
  return Math.hypot(overlap.scanA.noise, overlap.scanB.noise);
}

/** Overlap numbers by pair of instruments, in the order in which pairs appear. */
function poolsOf(overlaps: readonly PatchedOverlap[]): Map<string, number[]> {
  const pools = new Map<string, number[]>();
  overlaps.forEach((overlap, index) => {
    const key = [overlap.scanA.instrument, overlap.scanB.instrument].sort().join('\u0000');
    pools.set(key, [...(pools.get(key) ?? []), index]);
  });
  return pools;
}

function candidatesOf(members: readonly PatchedOverlap[]): ErrorCandidates {
  const scans = members.flatMap((o) => [o.scanA, o.scanB]);
  const smoothing = Math.min(...members.map((o) => o.smoothing));
  const shortest = Math.max(SHORTEST_OF_SMOOTHING * smoothing, 2 * Math.min(...scans.map((scan) => scan.spacing)));
  const longest = Math.max(...scans.map((scan) => scan.reach));
  return errorCandidates(shortest, longest);
}

/**
 * Overlaps among few scans repeat the same errors: of n scans there are n - 1 independent differences at one place, however
 * many overlaps they make.
 */
function independentShare(members: readonly PatchedOverlap[]): number {
  const scans = new Set(members.flatMap((o) => [o.scanA.id, o.scanB.id]));
  return Math.min(1, (scans.size - 1) / members.length);
}

function posteriorOf(
  candidates: ErrorCandidates,
  likelihoods: readonly ErrorLikelihood[],
  share: number,
): Float64Array {
  const { lengths, strengths, lengthPriors, strengthPriors } = candidates;
  const logs = new Float64Array(lengths.length * strengths.length);
  let most = Number.NEGATIVE_INFINITY;
  for (let c = 0; c < logs.length; c++) {
    const [l, s] = [Math.floor(c / strengths.length), c % strengths.length];
    for (const one of likelihoods) logs[c] += share * one.logLikelihood[c];
    logs[c] += Math.log(lengthPriors[l] * strengthPriors[s]);
    most = Math.max(most, logs[c]);
  }
  const weights = logs.map((value) => Math.exp(value - most));
  const total = weights.reduce((a, b) => a + b, 0);
  return weights.map((w) => w / total);
}

/** Mean over the candidates: independent part of one match, correlated fields, and both as one covariance. */
interface MeanErrors {
  readonly independent: number;
  readonly fields: OverlapErrors['fields'];
  readonly errors: OverlapErrors;
}

function meanErrors(
  overlap: PatchedOverlap,
  candidates: ErrorCandidates,
  posterior: Float64Array,
  likelihood: ErrorLikelihood,
): MeanErrors {
  const { lengths, strengths } = candidates;
  const noise = noiseOf(overlap);
  const shareOfA = (overlap.scanA.noise / noise) ** 2;
  let independent = 0;
  const variances = new Float64Array(lengths.length);
  for (let c = 0; c < posterior.length; c++) {
    independent += posterior[c] * likelihood.independent[c];
    variances[Math.floor(c / strengths.length)] += posterior[c] * (strengths[c % strengths.length] * noise) ** 2;
  }
  const total = variances.reduce((a, b) => a + b, 0);
  const fields = lengths
    .map((length, l) => ({ variance: variances[l], length, shareOfA }))
    .filter((field) => field.variance > LEAST_SHARE * total);
  const own = independentErrors(independent, overlap.smoothing, shareOfA);
  return { independent, errors: { ...own, fields: [...own.fields, ...fields, ...bends(overlap)] }, fields };
}

interface InstrumentSum {
  readonly instrument: string;
  independent: number;
  readonly fields: Map<number, number>;
  overlapCount: number;
  patchCount: number;
}

/** Length over which what a sheet states as constant part of its length errors hangs together, mm: sheets speak of metres. */
const VOLUMETRIC_LENGTH = 1000;

/** Bends that no overlap shows, from the sheets: type B. */
function bends({ scanA, scanB }: PatchedOverlap): OverlapErrors['fields'] {
  const [a, b] = [scanA.volumetric ** 2, scanB.volumetric ** 2];
  return a + b > 0 ? [{ variance: a + b, length: VOLUMETRIC_LENGTH, shareOfA: a / (a + b) }] : [];
}

function addTo(sums: Map<string, InstrumentSum>, overlap: PatchedOverlap, mean: MeanErrors): void {
  for (const side of ['a', 'b'] as const) {
    const own = side === 'a' ? overlap.scanA : overlap.scanB;
    const { instrument } = own;
    const sum = sums.get(instrument) ?? {
      instrument,
      independent: 0,
      fields: new Map(),
      overlapCount: 0,
      patchCount: 0,
    };
    const share = (own.noise / noiseOf(overlap)) ** 2;
    sum.independent += share * mean.independent;
    for (const { variance, length } of mean.fields)
      sum.fields.set(length, (sum.fields.get(length) ?? 0) + share * variance);
    sum.overlapCount++;
    sum.patchCount += overlap.patches.count;
    sums.set(instrument, sum);
  }
}

function instrumentOf(sum: InstrumentSum): InstrumentErrors {
  const { instrument, overlapCount, patchCount } = sum;
  return {
    instrument,
    white: Math.sqrt(sum.independent / overlapCount),
    fields: [...sum.fields]
      .sort((a, b) => a[0] - b[0])
      .map(([length, variance]) => ({ sigma: Math.sqrt(variance / overlapCount), length })),
    overlapCount,
    patchCount,
  };
}
