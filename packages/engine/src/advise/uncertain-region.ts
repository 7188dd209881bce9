import { distance, type Vec3 } from '../math/index.ts';
import type { AdviseFrame, AdviseInput, PlaceUncertainty, UncertainRegion } from './advice.ts';
import { regionWords } from './advice-words.ts';
import { type MotionCovariance, placeUncertainty } from './frame-motion.ts';
import { middleOfFrame, outermostSamples, placeOf, sampleCountOf } from './spread-places.ts';

/** A frame of the network as advice sees it. */
export interface AdvisedFrame {
  readonly source: AdviseFrame;
  /** Index into the joint covariance; -1 for the frame that stays. */
  readonly index: number;
  readonly outermost: readonly number[];
}

/** Largest uncertainty of some kind over all frames. */
export interface LargestUncertainty {
  readonly frame: AdvisedFrame;
  readonly sample: number;
  readonly uncertainty: PlaceUncertainty & { readonly direction: Vec3 };
}

/** Frames with samples, in the order given. */
export function advisedFrames(input: AdviseInput): AdvisedFrame[] {
  const index = new Map(input.covariance.frames.map((f, i) => [f.frame, i]));
  return input.frames
    .filter((frame) => sampleCountOf(frame) > 0)
    .map((source) => ({ source, index: index.get(source.frame) ?? -1, outermost: outermostSamples(source) }));
}

/** Worst place of all frames. Equal values: the first frame and sample. */
export function largestUncertainty(
  frames: readonly AdvisedFrame[],
  motionOf: (frame: number) => MotionCovariance,
  part: 'total' | 'ties',
): LargestUncertainty | null {
  let worst: LargestUncertainty | null = null;
  for (const frame of frames) {
    const motion = motionOf(frame.index);
    for (const sample of frame.outermost) {
      const uncertainty = placeUncertainty(motion, placeOf(frame.source, sample));
      if (uncertainty[part] > (worst?.uncertainty[part] ?? 0)) worst = { frame, sample, uncertainty };
    }
  }
  return worst;
}

/** Samples count as one region with the worst when their uncertainty is at least this share of its. */
const REGION_SHARE = 0.9;

/** The region around the worst place. */
export function describeRegion(
  worst: LargestUncertainty,
  motion: MotionCovariance,
  input: AdviseInput,
): UncertainRegion {
  const { source } = worst.frame;
  const place = placeOf(source, worst.sample);
  const { direction, ...uncertainty } = worst.uncertainty;
  let radius = 0;
  for (let i = 0; i < sampleCountOf(source); i++) {
    const at = placeOf(source, i);
    const away = distance(at, place);
    if (away > radius && placeUncertainty(motion, at).ties >= REGION_SHARE * uncertainty.ties) radius = away;
  }
  const datum = input.frames.find((f) => f.frame === input.datum);
  const ties = input.ties.filter((t) => t.frameA === source.frame || t.frameB === source.frame);
  const region = {
    frame: source.frame,
    place,
    direction,
    uncertainty,
    radius,
    distanceFromDatum: datum === undefined || sampleCountOf(datum) === 0 ? null : distance(middleOfFrame(datum), place),
    distanceFromTie: ties.length === 0 ? null : Math.min(...ties.map((t) => distance(t.place, place))),
  };
  return { ...region, words: regionWords(region, source) };
}
