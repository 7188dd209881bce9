// The ways of weighing overlaps that are compared. A new one is a function from a settled network to its last adjustment.
import { type WeighStep, weighAsIndependent, weighByPatchCount } from './estimate.ts';

export const WEIGH_STEPS: Readonly<Record<string, WeighStep>> = {
  hessian: weighAsIndependent,
  patches: weighByPatchCount,
};
