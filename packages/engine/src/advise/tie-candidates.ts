import { dot, subtract, symmetricEigen, type Vec3 } from '../math/index.ts';
import type { InstrumentErrors } from '../model/index.ts';
import type { AddedTie } from './added-tie.ts';
import type { AdviceCandidate, AdviseFrame, AdviseInput, AdviseOptions } from './advice.ts';
import { motionAbout, product } from './frame-motion.ts';
import { generalInverse, MOTION } from './joint-state.ts';
import { type LineOfSight, seeEachOther, standpointsBefore } from './line-of-sight.ts';
import { nearestSample, normalAt, placeOf, sampleCountOf, spreadSamples } from './spread-places.ts';
import { type PatchSide, patchInformation } from './surface-patch.ts';
import type { AdvisedFrame, LargestUncertainty } from './uncertain-region.ts';

/** A tie that could be added, and what stands in its words. */
export interface TieCandidate {
  readonly kind: AdviceCandidate['kind'];
  readonly frameA: AdvisedFrame;
  readonly frameB: AdvisedFrame;
  readonly place: Vec3;
  readonly placeB: Vec3 | null;
  readonly radius: number | null;
  /** The two surfaces look away from each other: sides of a wall. */
  readonly throughWall: boolean;
  /** From the place to the nearest sample of the other frame, mm. */
  readonly gap: number;
  readonly tie: AddedTie;
}

/** Errors of instruments of which nothing was learned: those of a middling scanner, half of the variance hanging together. */
const USUAL_ERRORS: InstrumentErrors = {
  instrument: 'usual',
  white: 0.035,
  fields: [
    { sigma: 0.025, length: 30 },
    { sigma: 0.025, length: 150 },
  ],
  overlapCount: 0,
  patchCount: 0,
};

/** Places looked at in all frames together: more frames, fewer in each. */
const PLACE_BUDGET = 1500;

/** All ties worth trying: places spread over every frame, joined with every other frame that is near. */
export function tieCandidates(
  input: AdviseInput,
  frames: readonly AdvisedFrame[],
  options: AdviseOptions,
  worst: LargestUncertainty,
  isFree: LineOfSight | null,
): TieCandidate[] {
  const found: TieCandidate[] = [];
  const count = Math.max(6, Math.min(options.placeCount, Math.floor(PLACE_BUDGET / frames.length)));
  const errorsOf = (instrument: string): InstrumentErrors =>
    input.errors.find((e) => e.instrument === instrument) ?? USUAL_ERRORS;
  const sideOf = ({ source }: AdvisedFrame): PatchSide => ({
    errors: errorsOf(source.instrument),
    spacing: source.spacing,
  });
  const newSide = (frame: AdvisedFrame): PatchSide =>
    options.bridgeInstrument === null
      ? sideOf(frame)
      : { errors: errorsOf(options.bridgeInstrument), spacing: frame.source.spacing };
  const visibility = isFree === null ? null : openVisibility(frames, isFree, options);
  for (const a of frames) {
    const first = a === worst.frame ? worst.sample : (a.outermost[0] ?? 0);
    for (const sample of spreadSamples(a.source, first, count)) {
      const place = placeOf(a.source, sample);
      const normal = normalAt(a.source, sample);
      const forms = new Map<string, Float64Array | null>();
      for (const b of frames) {
        if (b === a || (a.index < 0 && b.index < 0)) continue;
        const other = nearestSample(b.source, place);
        if (other.distance > Math.max(options.reach, options.bridgeSpan)) continue;
        const common = { frameA: a, frameB: b, place, gap: other.distance };
        const isCommon = looksAlike(b.source, place, normal, options.patchRadius);
        const isSeen = isCommon || visibility === null || visibility.sees(b, place, normal);
        const throughWall = visibility === null && !isCommon && dot(normal, normalAt(b.source, other.sample)) < -0.5;
        const form = (of: AdvisedFrame, at: Vec3, side: PatchSide, key: string): Float64Array | null => {
          const known = forms.get(key);
          if (known !== undefined) return known;
          const made = patchInformation(of.source, at, options.patchRadius, [sideOf(of), side]);
          forms.set(key, made);
          return made;
        };
        if (other.distance <= options.reach && isSeen) {
          found.push({
            ...common,
            kind: 'target',
            placeB: null,
            radius: null,
            throughWall,
            tie: targetTie(a.index, b.index, place, input.targetSigma),
          });
          const side = sideOf(b);
          const own = form(a, place, side, `${side.errors.instrument} ${side.spacing}`);
          if (own !== null) {
            found.push({
              ...common,
              kind: 'overlap',
              placeB: null,
              radius: options.patchRadius,
              throughWall,
              tie: differenceTie(a.index, b.index, place, own),
            });
          }
        }
        const placeB = placeOf(b.source, other.sample);
        const isJoined =
          isCommon || visibility === null || visibility.joins(place, normal, placeB, normalAt(b.source, other.sample));
        if (other.distance <= options.bridgeSpan && frames.indexOf(a) < frames.indexOf(b) && isJoined) {
          const own = form(a, place, newSide(a), 'new scan');
          const far = form(b, placeB, newSide(b), `bridge to ${b.source.frame}`);
          if (own !== null && far !== null) {
            found.push({
              ...common,
              kind: 'bridge',
              placeB,
              radius: options.patchRadius,
              throughWall,
              tie: bridgeTie(a.index, b.index, place, placeB, own, far),
            });
          }
        }
      }
    }
  }
  return found;
}

interface Visibility {
  /** Whether a session's instrument can be brought before the place. */
  readonly sees: (frame: AdvisedFrame, place: Vec3, normal: Vec3) => boolean;
  /** Whether one instrument can go from before the one place to before the other. */
  readonly joins: (place: Vec3, normal: Vec3, placeB: Vec3, normalB: Vec3) => boolean;
}

/** Standpoints kept of each session. */
const STANDPOINTS = 60;

function openVisibility(frames: readonly AdvisedFrame[], isFree: LineOfSight, options: AdviseOptions): Visibility {
  // Clear of the surface itself by what its triangles may be off.
  const lift = Math.max(options.standOff / 50, ...frames.map((f) => f.source.spacing / 2));
  const before = (place: Vec3, normal: Vec3): Vec3[] =>
    standpointsBefore(isFree, place, normal, options.standOff, lift);
  const stood = new Map(
    frames.map((frame) => [
      frame,
      spreadSamples(frame.source, 0, STANDPOINTS).flatMap((s) =>
        before(placeOf(frame.source, s), normalAt(frame.source, s)).slice(0, 1),
      ),
    ]),
  );
  return {
    sees: (frame, place, normal) =>
      seeEachOther(isFree, before(place, normal), stood.get(frame) ?? [], options.armReach),
    joins: (place, normal, placeB, normalB) =>
      seeEachOther(isFree, before(place, normal), before(placeB, normalB), options.bridgeSpan + 2 * options.standOff),
  };
}

/** Whether the frame has surface near the place that faces the same way, so that both look at one side of the wall. */
function looksAlike(frame: AdviseFrame, place: Vec3, normal: Vec3, radius: number): boolean {
  for (let i = 0; i < sampleCountOf(frame); i++) {
    const away = subtract(placeOf(frame, i), place);
    if (dot(away, away) <= radius * radius && dot(normal, normalAt(frame, i)) > 0.5) return true;
  }
  return false;
}

/** Both frames measure one target: three numbers of the difference of their shifts there, each with both errors. */
export function targetTie(frameA: number, frameB: number, place: Vec3, sigma: number): AddedTie {
  const rows = new Float64Array(3 * 14);
  const weight = 1 / (Math.SQRT2 * sigma);
  for (let k = 0; k < 3; k++) {
    rows[14 * k + k] = weight;
    rows[14 * k + MOTION + k] = -weight;
  }
  return { frameA, frameB, place, rows, rowCount: 3 };
}

/** A form over the difference of the two motions about the place. */
export function differenceTie(frameA: number, frameB: number, place: Vec3, information: Float64Array): AddedTie {
  const form = new Float64Array(14 * 14);
  addBlocks(form, information, [1, -1]);
  return formTie(frameA, frameB, place, form);
}

/**
 * Two patches in series: the new scan's own motion is taken out of the sum of both forms, so that what neither patch
 * holds is not held. H = (H1^-1 + H2^-1)^-1 where both have full rank.
 */
export function bridgeTie(
  frameA: number,
  frameB: number,
  place: Vec3,
  placeB: Vec3,
  informationA: Float64Array,
  informationB: Float64Array,
): AddedTie {
  const about = motionAbout(placeB, place);
  const half = product(transposed(about, MOTION), informationB, MOTION, MOTION, MOTION);
  const moved = product(half, about, MOTION, MOTION, MOTION);
  // Unknowns: motion of A, of B, and of the new scan, whose stretch counts as none.
  const form = new Float64Array(14 * 14);
  const cross = new Float64Array(14 * 6);
  const own = new Float64Array(36);
  for (let i = 0; i < MOTION; i++) {
    for (let j = 0; j < MOTION; j++) {
      form[14 * i + j] = informationA[MOTION * i + j];
      form[14 * (MOTION + i) + MOTION + j] = moved[MOTION * i + j];
      if (j < 6) {
        cross[6 * i + j] = informationA[MOTION * i + j];
        cross[6 * (MOTION + i) + j] = moved[MOTION * i + j];
        if (i < 6) own[6 * i + j] = informationA[MOTION * i + j] + moved[MOTION * i + j];
      }
    }
  }
  // Rotations as lengths, so that no unit decides what counts as held.
  const arm = armOf(own);
  const scaled = own.map((v, k) => v / (k % 6 > 2 ? arm : 1) / (k >= 18 ? arm : 1));
  const inverse = generalInverse(scaled, 6).map((v, k) => v / (k % 6 > 2 ? arm : 1) / (k >= 18 ? arm : 1));
  const taken = product(product(cross, inverse, 14, 6, 6), transposed(cross, 6, 14), 14, 6, 14);
  return formTie(
    frameA,
    frameB,
    place,
    form.map((v, k) => v - taken[k]),
  );
}

function armOf(information: ArrayLike<number>): number {
  const at = (i: number): number => information[7 * i] as number;
  const shift = at(0) + at(1) + at(2);
  const turn = at(3) + at(4) + at(5);
  return shift > 0 && turn > 0 ? Math.sqrt(turn / shift) : 1;
}

function transposed(m: Float64Array, columns: number, rows: number = m.length / columns): Float64Array {
  const out = new Float64Array(m.length);
  for (let i = 0; i < rows; i++) for (let j = 0; j < columns; j++) out[j * rows + i] = m[i * columns + j];
  return out;
}

function addBlocks(form: Float64Array, information: Float64Array, signs: readonly [number, number]): void {
  for (let a = 0; a < 2; a++)
    for (let b = 0; b < 2; b++)
      for (let i = 0; i < MOTION; i++)
        for (let j = 0; j < MOTION; j++)
          form[14 * (MOTION * a + i) + MOTION * b + j] += signs[a] * signs[b] * information[MOTION * i + j];
}

/** Rows of unit variance from a 14 x 14 form; directions that it does not hold are left out. */
function formTie(frameA: number, frameB: number, place: Vec3, form: Float64Array): AddedTie {
  // Scaled to a unit diagonal, so that shifts, rotations and stretches weigh alike in what counts as held.
  const sizes = Float64Array.from({ length: 14 }, (_, i) => Math.sqrt(Math.max(0, form[15 * i])));
  const scaled = form.map((v, k) => {
    const size = sizes[Math.floor(k / 14)] * sizes[k % 14];
    return size > 0 ? v / size : 0;
  });
  const { values, vectors } = symmetricEigen(scaled, 14);
  const kept = [...values.keys()].filter((k) => values[k] > 1e-11 * values[13]);
  const rows = new Float64Array(kept.length * 14);
  kept.forEach((k, r) => {
    const weight = Math.sqrt(values[k]);
    for (let i = 0; i < 14; i++) rows[14 * r + i] = weight * vectors[14 * i + k] * sizes[i];
  });
  return { frameA, frameB, place, rows, rowCount: kept.length };
}
