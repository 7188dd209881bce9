import { quaternionOfVector, rotationMatrix, symmetricEigen } from '../math/index.ts';
import { findConsistentMotions } from './coarse-consistency.ts';
import type { CoarseModel } from './coarse-model.ts';
import { composeMotions, type Motion, motionAngle } from './coarse-motion.ts';
import { isSameMotion, scoreMotion, settleAndScore } from './coarse-search.ts';
import { settleOnSamples } from './coarse-settle.ts';
import { matchFeatures } from './feature-match.ts';

/** Smallest turn that counts as another pose: below it a motion is a settling error. */
const LEAST_TURN = 0.15;

/**
 * Motions that bring a scan, or a good part of it, onto itself: where it has them, a second scan fits in as many poses.
 *
 * Method   quarter and half turns about the principal axes, and matches of the scan with itself, those of a sample with its own
 *          neighbourhood left out; a motion is kept when a third of the samples agree. They are candidates only: each pair tries them against its own evidence.
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
  const stride = Math.max(1, Math.floor(surface.count / 250));
  const candidates = [
    ...axisTurns(model),
    ...findConsistentMotions(surface, surface, matches, tolerance, 60).map((hypothesis) => hypothesis.motion),
  ];
  const attempt = (begin: Motion): void => {
    if (motionAngle(begin, identity) < LEAST_TURN) return;
    if (found.some((other) => isSameMotion(other.motion, begin, model))) return;
    const place = [{ lookup: model.lookup, motion: null }];
    const { motion } = settleOnSamples(surface, place, begin, { start: 2 * spacing, end: spacing, rounds: 5, stride });
    const rough = scoreMotion(model, model, motion, stride);
    if (rough.forward.agree + rough.forward.off < 0.2 * rough.forward.samples) return;
    const scored = settleAndScore(model, model, motion, 0);
    if (scored.forward.agree < surface.count / 3 || scored.score < 0) return;
    if (isSameMotion(scored.motion, identity, model)) return;
    if (found.some((other) => isSameMotion(other.motion, scored.motion, model))) return;
    found.push({ motion: scored.motion, score: scored.score });
  };
  for (const begin of candidates) attempt(begin);
  // Symmetries make a group: what two of them give together is one too.
  for (let i = 0; i < found.length && found.length < limit; i++) {
    for (let j = 0; j <= i && found.length < limit; j++) {
      attempt(composeMotions(found[i].motion, found[j].motion));
      attempt(composeMotions(found[j].motion, found[i].motion));
    }
  }
  return found
    .sort((a, b) => b.score - a.score)
    .slice(0, limit)
    .map((item) => item.motion);
}

/** Quarter and half turns about the principal axes through the centroid of the samples. */
function axisTurns(model: CoarseModel): Motion[] {
  const { positions, count } = model.surface;
  const center = [0, 0, 0];
  for (let i = 0; i < positions.length; i++) center[i % 3] += positions[i] / count;
  const scatter = new Float64Array(9);
  for (let i = 0; i < positions.length; i += 3) {
    for (let r = 0; r < 3; r++) {
      for (let c = 0; c < 3; c++) scatter[3 * r + c] += (positions[i + r] - center[r]) * (positions[i + c] - center[c]);
    }
  }
  const { vectors } = symmetricEigen(scatter, 3);
  const out: Motion[] = [];
  for (let k = 0; k < 3; k++) {
    for (const angle of [Math.PI, Math.PI / 2, -Math.PI / 2]) {
      const r = rotationMatrix(
        quaternionOfVector([vectors[k] * angle, vectors[3 + k] * angle, vectors[6 + k] * angle]),
      );
      const motion = new Float64Array(12);
      for (let row = 0; row < 3; row++) {
        motion[4 * row + 3] = center[row];
        for (let c = 0; c < 3; c++) {
          motion[4 * row + c] = r[3 * row + c];
          motion[4 * row + 3] -= r[3 * row + c] * center[c];
        }
      }
      out.push(motion);
    }
  }
  return out;
}
