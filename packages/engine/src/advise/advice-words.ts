import type { Vec3 } from '../math/index.ts';
import { formatUncertainty } from '../report/index.ts';
import type { AdviceCandidate, AdviseFrame, UncertainRegion } from './advice.ts';

const AXES = ['X', 'Y', 'Z'] as const;

/** A place in words, rounded to mm. */
export function placeWords(place: Vec3): string {
  return `(${place.map((v) => v.toFixed(0)).join(', ')}) mm`;
}

/** At which ends of the frame's box a place lies: `+X and -Z`; empty for the middle. */
export function endWords(place: Vec3, frame: AdviseFrame): string {
  const ends: string[] = [];
  for (let k = 0; k < 3; k++) {
    let [low, high] = [Number.POSITIVE_INFINITY, Number.NEGATIVE_INFINITY];
    for (let i = k; i < frame.places.length; i += 3) {
      low = Math.min(low, frame.places[i]);
      high = Math.max(high, frame.places[i]);
    }
    const share = high > low ? (2 * place[k] - low - high) / (high - low) : 0;
    if (Math.abs(share) > 0.6) ends.push(`${share > 0 ? '+' : '−'}${AXES[k]}`);
  }
  return ends.length < 2 ? (ends[0] ?? '') : `${ends.slice(0, -1).join(', ')} and ${ends.at(-1)}`;
}

function directionWords(direction: Vec3): string {
  const lead = direction.findIndex((v) => Math.abs(v) > 0.85);
  if (lead >= 0) return `mostly along ${AXES[lead]}`;
  return `along (${direction.map((v) => v.toFixed(2)).join(', ')})`;
}

function lengthWords(length: number): string {
  return length >= 1000 ? `${(length / 1000).toFixed(2)} m` : `${length.toFixed(0)} mm`;
}

/** The worst region in one sentence. */
export function regionWords(region: Omit<UncertainRegion, 'words'>, frame: AdviseFrame): string {
  const end = endWords(region.place, frame);
  const from = [
    region.distanceFromTie === null ? '' : `${lengthWords(region.distanceFromTie)} from its nearest tie`,
    region.distanceFromDatum === null
      ? ''
      : `${lengthWords(region.distanceFromDatum)} from the middle of the datum frame`,
  ].filter((text) => text !== '');
  return `Frame ${region.frame}, ${end === '' ? 'near its middle' : `towards ${end}`}, at ${placeWords(region.place)}${from.length === 0 ? '' : `, ${from.join(' and ')}`}: U = ${formatUncertainty(region.uncertainty.total)} mm (k = 2), ${directionWords(region.direction)}.`;
}

/** What a candidate is, in one sentence. */
export function candidateWords(
  candidate: Pick<AdviceCandidate, 'kind' | 'frameA' | 'frameB' | 'place' | 'placeB' | 'radius'>,
  frame: AdviseFrame,
): string {
  const { kind, frameA, frameB, place, placeB, radius } = candidate;
  const end = endWords(place, frame);
  const at = `at ${placeWords(place)}${end === '' ? '' : `, towards ${end} of ${frameA}`}`;
  if (kind === 'target') return `One target that ${frameA} and ${frameB} both measure, ${at}.`;
  const size = `${(2 * (radius ?? 0)).toFixed(0)} mm across`;
  if (kind === 'overlap') return `A patch ${size} of the surface of ${frameA} that ${frameB} captures as well, ${at}.`;
  return `One new scan that shows a patch ${size} of ${frameA} ${at}, and one of ${frameB} at ${placeWords(placeB ?? place)}.`;
}

/** What the tie needs on site and what it leaves. */
export function candidateRemark(kind: AdviceCandidate['kind'], throughWall: boolean, gap: number): string {
  const remarks: string[] = [];
  if (throughWall)
    remarks.push('The two frames show the two sides of a wall here: it takes an opening or a rim that both can see.');
  else if (gap > 50 && kind !== 'bridge')
    remarks.push(
      `The nearest surface of the other frame is ${lengthWords(gap)} away: see that both can reach the place.`,
    );
  if (kind === 'bridge') remarks.push('Errors of length of the new scan itself are not counted.');
  return remarks.join(' ');
}
