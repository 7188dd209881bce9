import { findConsistentMotions } from './coarse-consistency.ts';
import type { CoarseModel } from './coarse-model.ts';
import { type Motion, motionAngle } from './coarse-motion.ts';
import { isSameMotion, scoreMotion, settleAndScore } from './coarse-search.ts';
import { matchFeatures } from './feature-match.ts';

/** Smallest turn that counts as another pose: below it a motion is a settling error. */
const LEAST_TURN = 0.15;

/**
 * Motions that bring a scan, or a good part of it, onto itself: where it has them, a second scan fits in as many poses.
 *
 * Method   the scan is matched with itself, matches of a sample with its own neighbourhood left out; a motion is kept when a third
 *          of the samples agree. They are candidates only: each pair tries them against its own evidence.
 *
 * @returns motions within the scan's own float32 frame, identity excluded, best first, at most `limit`
 */
export function findSelfMotions(model: CoarseModel, limit = 24): Motion[] {
  const { surface, features, keys, spacing } = model;
  const all = matchFeatures(features, keys, features, keys, 6, 6000);
  const source: number[] = [];
  const target: number[] = [];
  const distance: number[] = [];
  for (let k = 0; k < all.count && source.length < 1500; k++) {
    const s = 3 * all.source[k];
    const t = 3 * all.target[k];
    const p = surface.positions;
    if (Math.hypot(p[s] - p[t], p[s + 1] - p[t + 1], p[s + 2] - p[t + 2]) < 6 * spacing) continue;
    source.push(all.source[k]);
    target.push(all.target[k]);
    distance.push(all.distance[k]);
  }
  const matches = {
    count: source.length,
    source: Int32Array.from(source),
    target: Int32Array.from(target),
    distance: Float32Array.from(distance),
  };
  const tolerance = { distance: 1.2 * spacing, cosine: 0.25, minimumDistance: 4 * spacing };
  const found: { motion: Motion; score: number }[] = [];
  const identity = Float64Array.of(1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0);
  for (const hypothesis of findConsistentMotions(surface, surface, matches, tolerance, 40)) {
    if (motionAngle(hypothesis.motion, identity) < LEAST_TURN) continue;
    if (found.some((other) => isSameMotion(other.motion, hypothesis.motion, model))) continue;
    const rough = scoreMotion(model, model, hypothesis.motion, Math.max(1, Math.floor(surface.count / 250)));
    if (rough.forward.agree + rough.forward.off < 0.2 * rough.forward.samples) continue;
    const scored = settleAndScore(model, model, hypothesis.motion, hypothesis.support);
    if (scored.forward.agree < surface.count / 3 || scored.score < 0) continue;
    if (isSameMotion(scored.motion, identity, model)) continue;
    if (found.some((other) => isSameMotion(other.motion, scored.motion, model))) continue;
    found.push({ motion: scored.motion, score: scored.score });
  }
  return found
    .sort((a, b) => b.score - a.score)
    .slice(0, limit)
    .map((item) => item.motion);
}
