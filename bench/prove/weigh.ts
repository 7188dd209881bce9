// The ways of stating uncertainties that are compared.
import type { OverlapObservation } from '@lapjoint/engine';
import { weighRound } from '../../packages/engine/src/pipeline/weigh-round.ts';
import { adjustDensely } from './dense-adjustment.ts';
import { adjust, answerOf, overlapsAt, posesOf, type WeighStep } from './estimate.ts';

/** Adjusted anew with other weights: twice, because the matches are found again where the frames go. */
function reweighed(change: (overlap: OverlapObservation) => OverlapObservation): WeighStep {
  return async (settled, context) => {
    let poses = settled.poses;
    for (let round = 0; ; round++) {
      const { overlaps } = await overlapsAt(settled, poses, context);
      const answer = answerOf(await adjust(settled, poses, overlaps.map(change)));
      if (round === 1) return answer;
      poses = posesOf(answer);
    }
  };
}

export const WEIGH_STEPS: Readonly<Record<string, WeighStep>> = {
  /** What the tool states. */
  stated: async (settled) => answerOf(settled.adjustment),
  /** The plain Hessian times the residual variance: every correspondence counts as independent, nothing is known of scale. */
  hessian: reweighed((overlap) => ({ ...overlap, effectiveCount: overlap.count, sigma: 1e-6 * overlap.sigma })),
  /** As many independent distances as patches. */
  patches: reweighed((overlap) => overlap),
  /** The tool's weights in the dense adjustment: a check of the adjustment. */
  dense: async (settled, context) => {
    const { overlaps, memory } = await overlapsAt(settled, settled.poses, context);
    const weighed = await weighRound(overlaps, settled.scans, memory, 'learned', null, settled.runner, context);
    return adjustDensely(settled, weighed.overlaps, weighed.correlations);
  },
};
