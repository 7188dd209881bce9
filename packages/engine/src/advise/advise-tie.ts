import type { Advice, AdviseInput } from './advice.ts';

/** Which single tie, added to the network, lowers the uncertainty of its worst place most. */
export function adviseTie(input: AdviseInput): Advice {
  return { worst: null, candidates: [], remark: input.frames.length === 0 ? 'No frame is placed.' : '' };
}
