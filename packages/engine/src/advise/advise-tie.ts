import { distance } from '../math/index.ts';
import { formatUncertainty } from '../report/index.ts';
import { addTie, presentMotion } from './added-tie.ts';
import type { Advice, AdviceCandidate, AdviseInput, AdviseOptions, PlaceUncertainty } from './advice.ts';
import { candidateRemark, candidateWords } from './advice-words.ts';
import { placeUncertainty } from './frame-motion.ts';
import { type JointState, openJointCovariance } from './joint-state.ts';
import { openLinesOfSight } from './line-of-sight.ts';
import { placeOf } from './spread-places.ts';
import { type TieCandidate, tieCandidates } from './tie-candidates.ts';
import { type AdvisedFrame, advisedFrames, describeRegion, largestUncertainty } from './uncertain-region.ts';

/**
 * Two hand's breadths of surface; what an arm reaches around a rim; what a scanner sees at once, with margin; a usual
 * distance to the surface; a step and an arm through an opening.
 */
export const ADVISE_DEFAULTS: AdviseOptions = {
  patchRadius: 150,
  reach: 400,
  bridgeSpan: 600,
  bridgeInstrument: null,
  standOff: 400,
  armReach: 1500,
  placeCount: 60,
  candidateCount: 8,
};

interface Tried {
  readonly candidate: TieCandidate;
  readonly after: PlaceUncertainty;
}

/**
 * Which single tie, added to the network, lowers the uncertainty of its worst place most: a target that two frames measure,
 * a patch that a second frame captures as well, or a new scan that joins two frames.
 *
 * Frames   all places in the job's frame. Units mm; uncertainties k = 2, largest direction.
 * Method   worst place from the joint covariance; for every candidate the covariance with it by an update of low rank, with
 *          the instruments' correlated errors in overlaps; ranked by what is left at the worst place.
 * Assumes  the stated covariance is true; errors of the new tie are independent of those of the old ones.
 * Limits   with lines of sight, a place counts as visible for a session when an instrument before it is in sight of where
 *          that session's instrument stood; without, nearness stands for that. The person on site decides. Looks at one tie at a time.
 * Cost     some 1500 places in all, each with its near frames: about a second.
 * Repeats  bit for bit.
 */
export function adviseTie(input: AdviseInput): Advice {
  const options = { ...ADVISE_DEFAULTS, ...input.options };
  const frames = advisedFrames(input);
  const state = openJointCovariance(input.covariance, input.estimatedTerms);
  const worst = largestUncertainty(frames, (frame) => presentMotion(state, frame), 'ties');
  if (worst === null) {
    const remark =
      frames.length < 2 ? 'Fewer than two frames are placed.' : 'No frame has an uncertainty of its place.';
    return { worst: null, candidates: [], remark };
  }
  const motion = presentMotion(state, worst.frame.index);
  const region = describeRegion(worst, motion, input);
  const sight = input.surfaces === undefined ? null : openLinesOfSight(input.surfaces);
  const candidates = tieCandidates(input, frames, options, worst, sight?.isFree ?? null);
  sight?.dispose();
  const tried = candidates
    .map((candidate): Tried => {
      const after = addTie(state, candidate.tie).motionOf(worst.frame.index);
      const { direction: _, ...uncertainty } = placeUncertainty(after, region.place);
      return { candidate, after: uncertainty };
    })
    .sort(byWhatIsLeft);
  const chosen = choose(tried, options).map((t) => finish(t, region.uncertainty, state, frames));
  return {
    worst: region,
    candidates: chosen,
    remark: adviceRemark(region.uncertainty, chosen, options, sight !== null),
  };
}

const KINDS: readonly AdviceCandidate['kind'][] = ['target', 'overlap', 'bridge'];

function byWhatIsLeft(s: Tried, t: Tried): number {
  // Equal to nine digits: the cheaper kind, then the place.
  const left = Number(s.after.total.toPrecision(9)) - Number(t.after.total.toPrecision(9));
  if (left !== 0) return left;
  const kind = KINDS.indexOf(s.candidate.kind) - KINDS.indexOf(t.candidate.kind);
  if (kind !== 0) return kind;
  for (let k = 0; k < 3; k++) {
    const d = (s.candidate.place[k] as number) - (t.candidate.place[k] as number);
    if (d !== 0) return d;
  }
  return 0;
}

/** The best ones without near twins; the best of each kind is always among them, and the best that goes through no wall. */
function choose(tried: readonly Tried[], options: AdviseOptions): Tried[] {
  const kept: Tried[] = [];
  for (const t of tried) {
    const isTwin = kept.some(
      (k) =>
        k.candidate.kind === t.candidate.kind &&
        distance(k.candidate.place, t.candidate.place) < 2 * options.patchRadius,
    );
    if (!isTwin) kept.push(t);
  }
  const leaders = new Set(
    KINDS.flatMap((kind) => [
      kept.find((t) => t.candidate.kind === kind),
      kept.find((t) => t.candidate.kind === kind && !t.candidate.throughWall),
    ]),
  );
  const others = Math.max(0, options.candidateCount - leaders.size);
  const filler = new Set(kept.filter((t) => !leaders.has(t)).slice(0, others));
  return kept.filter((t) => leaders.has(t) || filler.has(t));
}

function finish(
  { candidate, after }: Tried,
  before: PlaceUncertainty,
  state: JointState,
  frames: readonly AdvisedFrame[],
): AdviceCandidate {
  const effect = addTie(state, candidate.tie);
  const largest = largestUncertainty(frames, effect.motionOf, 'total');
  const found = {
    kind: candidate.kind,
    frameA: candidate.frameA.source.frame,
    frameB: candidate.frameB.source.frame,
    place: candidate.place,
    placeB: candidate.placeB,
    radius: candidate.radius,
    before,
    after,
    largestAfter: largest?.uncertainty.total ?? 0,
    largestAfterFrame: largest?.frame.source.frame ?? '',
    largestAfterPlace: largest === null ? candidate.place : placeOf(largest.frame.source, largest.sample),
  };
  return {
    ...found,
    words: candidateWords(found, candidate.frameA.source),
    remark: candidateRemark(candidate.kind, candidate.throughWall, candidate.gap),
  };
}

function adviceRemark(
  now: PlaceUncertainty,
  chosen: readonly AdviceCandidate[],
  options: AdviseOptions,
  hasSight: boolean,
): string {
  const best = chosen[0];
  if (best === undefined)
    return `No two frames have surface within ${options.reach} mm of each other${hasSight ? ' that both can see' : ''}: nothing joins them but a new scan in between or targets that stay.`;
  const remarks: string[] = [];
  if (now.scale > now.ties)
    remarks.push(
      'Most of the uncertainty there is scale and temperature. No tie measures that: state the temperature, measure a scale bar, or use the sheet of the very instrument.',
    );
  else if (now.scale > 0.3 * now.total)
    remarks.push(
      `${formatUncertainty(now.scale)} mm of the uncertainty there is scale and temperature: a tie at the place lowers it there, but not everywhere; a scale bar or a stated temperature does.`,
    );
  if (best.after.total > 0.8 * now.total) remarks.push('No single tie helps much: the worst place needs several.');
  return remarks.join(' ');
}
