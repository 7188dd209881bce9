// The ways of weighing overlaps that are compared. A new one is a function from a settled network to its answer.

import { weighRound } from '../../packages/engine/src/pipeline/weigh-round.ts';
import { adjustDensely } from './dense-adjustment.ts';
import { adjust, answerOf, type WeighStep } from './estimate.ts';

/** Every correspondence counts as independent: the plain Hessian times the residual variance. */
const asIndependent: WeighStep = async (settled) =>
  answerOf(
    await adjust(settled, [
      ...settled.fixed,
      ...settled.overlaps.map((overlap) => ({
        ...overlap,
        effectiveCount: overlap.count,
        sigma: 1e-6 * overlap.sigma,
      })),
    ]),
  );

/** As many independent distances as patches. */
const byPatchCount: WeighStep = async (settled) =>
  answerOf(await adjust(settled, [...settled.fixed, ...settled.overlaps]));

/** Generalised least squares with errors learned from all overlaps, in the dense adjustment. */
const byLikelihood: WeighStep = async (settled, context) => {
  const weighed = await weighRound(settled.overlaps, settled.scans, settled.memory, settled.runner, context);
  return adjustDensely(settled, weighed.overlaps, weighed.correlations);
};

/** The same without what overlaps share. */
const withoutSharing: WeighStep = async (settled, context) => {
  const weighed = await weighRound(settled.overlaps, settled.scans, settled.memory, settled.runner, context);
  return adjustDensely(settled, weighed.overlaps, []);
};

export const WEIGH_STEPS: Readonly<Record<string, WeighStep>> = {
  hessian: asIndependent,
  patches: byPatchCount,
  dense: byLikelihood,
  unshared: withoutSharing,
};
