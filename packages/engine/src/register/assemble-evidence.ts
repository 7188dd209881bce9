import { countStates, judgeSamples, type OneSidedEvidence } from './coarse-evidence.ts';
import type { CoarseModel } from './coarse-model.ts';
import { composeMotions, invertMotion, type Motion } from './coarse-motion.ts';
import { agreementLimit, evidenceScore } from './coarse-search.ts';
import { type SettledMotion, type SettleOptions, settleOnSamples } from './coarse-settle.ts';

/** A scan with its pose in the assembly. */
export interface PlacedModel {
  readonly index: number;
  readonly model: CoarseModel;
  /** `worldFromScan` between float32 frames. */
  readonly motion: Motion;
}

/** What speaks for a scan's place among others. */
export interface AssemblyEvidence {
  /** The scan's samples against all others together: in front of any, else on any, else off one. */
  readonly forward: OneSidedEvidence;
  /** The others' samples against the scan, counted in the same measure as `forward`. */
  readonly backward: OneSidedEvidence;
  readonly score: number;
  /** The other scan most of whose free space the scan would stand in: index and count; -1 when there is none. */
  readonly worstIndex: number;
  readonly worstCount: number;
}

/**
 * Collects the evidence for one scan's place among others that are placed.
 *
 * Method   a sample off one scan is excused when it lies on another, since scans are ragged at their borders; a sample in
 *          front of what any scan saw is never excused. Where several scans cover one place their samples are weighed down
 *          to one.
 */
export function collectAssemblyEvidence(
  model: CoarseModel,
  motion: Motion,
  placed: readonly PlacedModel[],
  stride = 1,
): AssemblyEvidence {
  const states = new Uint8Array(model.surface.count);
  let squares = 0;
  let agreements = 0;
  let worstIndex = -1;
  let worstCount = 0;
  const back = { samples: 0, agree: 0, weighted: 0, off: 0, inFront: 0, squares: 0 };
  for (const other of placed) {
    const tolerance = { agree: agreementLimit(model, other.model), free: 1.5 * model.spacing };
    const otherFromScan = composeMotions(invertMotion(other.motion), motion);
    const own = new Uint8Array(model.surface.count);
    const sum = judgeSamples(
      model.surface,
      otherFromScan,
      other.model.lookup,
      other.model.free,
      tolerance,
      stride,
      own,
    );
    const theirs = new Uint8Array(other.model.surface.count);
    const scanFromOther = invertMotion(otherFromScan);
    const sumBack = judgeSamples(
      other.model.surface,
      scanFromOther,
      model.lookup,
      model.free,
      tolerance,
      stride,
      theirs,
    );
    const ownCount = countStates(model.surface, own, stride, sum);
    const theirCount = countStates(other.model.surface, theirs, stride, sumBack);
    for (let i = 0; i < own.length; i += stride) if (own[i] > states[i]) states[i] = own[i];
    squares += sum;
    agreements += ownCount.agree;
    back.samples += theirCount.samples;
    back.agree += theirCount.agree;
    back.weighted += theirCount.weighted;
    back.off += theirCount.off;
    back.inFront += theirCount.inFront;
    back.squares += sumBack;
    const against = ownCount.inFront + theirCount.inFront;
    if (against > worstCount) {
      worstCount = against;
      worstIndex = other.index;
    }
  }
  const rms2 = agreements > 0 ? squares / agreements : 0;
  const counted = countStates(model.surface, states, stride, 0);
  const forward = { ...counted, rms: Math.sqrt(rms2) };
  const share = back.agree > forward.agree && back.agree > 0 ? forward.agree / back.agree : 1;
  const backward = {
    samples: back.samples,
    agree: back.agree * share,
    weighted: back.weighted * share,
    off: back.off * share,
    inFront: back.inFront * share,
    rms: back.agree > 0 ? Math.sqrt(back.squares / back.agree) : 0,
  };
  return { forward, backward, score: evidenceScore(forward, backward), worstIndex, worstCount };
}

/** Settles a scan on all others that are placed. */
export function settleInAssembly(
  model: CoarseModel,
  begin: Motion,
  placed: readonly PlacedModel[],
  options: Partial<SettleOptions> = {},
): SettledMotion {
  let limit = 0;
  for (const other of placed) limit = Math.max(limit, agreementLimit(model, other.model));
  return settleOnSamples(
    model.surface,
    placed.map((other) => ({ lookup: other.model.lookup, motion: other.motion })),
    begin,
    { start: model.spacing, end: 2 * limit, rounds: 8, stride: 1, ...options },
  );
}
