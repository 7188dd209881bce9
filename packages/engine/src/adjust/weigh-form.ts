import { symmetricEigen } from '../math/index.ts';
import { overlapArm } from './centre-frames.ts';
import type { NetworkLink } from './network-model.ts';

/** An overlap or a prior. */
export type FormLink = NetworkLink & { readonly kind: 'overlap' | 'prior' };

/** What an overlap or a prior is, apart from the poses: its form in weights of one. */
export interface WeightedForm {
  /** 7 for weighed overlaps (the seventh is the stretch of A against B), else 6. */
  readonly size: number;
  readonly weight: Float64Array;
  readonly gradient: Float64Array;
  /** Least value of e^T W e + 2 g^T e over the six motions, negative or zero. */
  readonly least: number;
  /** Where it is taken. */
  readonly best: Float64Array;
  readonly rank: number;
  /** The same when the stretch is free too. */
  readonly leastStretched: number;
  readonly rankStretched: number;
}

/** Directions of an observed form below this share of its strongest one are rounding of the sums that made it. */
const FORM_TOLERANCE = 1e-11;

/**
 * Weight of an overlap. Weighed by a model of the errors: as it comes. Else as many independent distances as it has patches,
 * each with the larger of the expected and the found standard deviation.
 */
export function weighForm(link: FormLink): WeightedForm {
  const weighed = link.kind === 'overlap' ? link.source.weighed : null;
  const size = weighed ? 7 : 6;
  const information = weighed ? weighed.information : link.source.information;
  const gradient = weighed ? weighed.gradient : link.kind === 'overlap' ? link.source.gradient : new Float64Array(6);
  const arm = link.kind === 'overlap' ? overlapArm(link.source) || 1 : priorArm(link.source.information);
  // One unit for the eigenvalues: rotations as lengths at the arm.
  const unit = [1, 1, 1, arm, arm, arm];
  const scaled = Array.from({ length: 36 }, (_, k) => {
    const [i, j] = [Math.floor(k / 6), k % 6];
    return (information[i * size + j] as number) / ((unit[i] as number) * (unit[j] as number));
  });
  const { values, vectors } = symmetricEigen(scaled, 6);
  const weight = new Float64Array(size * size);
  const clean = new Float64Array(size);
  const best = new Float64Array(6);
  let least = 0;
  let rank = 0;
  let stretch = 0;
  let stretchSlope = 0;
  if (weighed) {
    weight[48] = weighed.information[48] as number;
    clean[6] = weighed.gradient[6] as number;
    stretch = weight[48];
    stretchSlope = clean[6];
  }
  for (let e = 0; e < 6; e++) {
    const value = values[e];
    if (!(value > FORM_TOLERANCE * values[5])) continue;
    rank++;
    let along = 0;
    let coupled = 0;
    for (let i = 0; i < 6; i++) {
      const v = vectors[6 * i + e] / (unit[i] as number);
      along += v * (gradient[i] as number);
      if (weighed) coupled += v * (information[i * size + 6] as number);
    }
    least -= (along * along) / value;
    stretch -= (coupled * coupled) / value;
    stretchSlope -= (coupled * along) / value;
    for (let i = 0; i < 6; i++) {
      const vi = vectors[6 * i + e] * (unit[i] as number);
      best[i] -= ((along / value) * vectors[6 * i + e]) / (unit[i] as number);
      clean[i] += along * vi;
      for (let j = 0; j < 6; j++) weight[size * i + j] += value * vi * vectors[6 * j + e] * (unit[j] as number);
      if (weighed) {
        weight[size * i + 6] += coupled * vi;
        weight[42 + i] += coupled * vi;
      }
    }
  }
  const holdsStretch = weighed !== null && stretch > FORM_TOLERANCE * weight[48];
  let factor = 1;
  if (link.kind === 'overlap' && !weighed) {
    const o = link.source;
    const found = Math.max(0, o.sumSquares + least) / o.count;
    factor = Math.min(o.effectiveCount, o.count) / (o.count * Math.max(o.sigma * o.sigma, found));
  }
  return {
    size,
    weight: weight.map((v) => v * factor),
    gradient: clean.map((v) => v * factor),
    least: least * factor,
    best,
    rank,
    leastStretched: factor * (holdsStretch ? least - (stretchSlope * stretchSlope) / stretch : least),
    rankStretched: rank + (holdsStretch ? 1 : 0),
  };
}

function priorArm(information: readonly number[]): number {
  const shift = (information[0] as number) + (information[7] as number) + (information[14] as number);
  const turn = (information[21] as number) + (information[28] as number) + (information[35] as number);
  return shift > 0 && turn > 0 ? Math.sqrt(turn / shift) : 1;
}

const forms = new WeakMap<object, WeightedForm>();

/** The weighed form of a link, made once. */
export function formOf(link: FormLink): WeightedForm {
  let form = forms.get(link);
  if (!form) {
    form = weighForm(link);
    forms.set(link, form);
  }
  return form;
}
