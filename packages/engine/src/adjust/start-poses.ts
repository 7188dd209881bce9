import { absoluteOrientation, add, compose, invert, type Pose, rotate, type Vec3 } from '../math/index.ts';
import { weighForm } from './linearise-link.ts';
import type { NetworkModel } from './network-model.ts';

interface Proposal {
  readonly frame: number;
  readonly pose: Pose;
  /** Larger is better: ties that hold all six first, then by the number of points. */
  readonly strength: number;
}

/**
 * Poses to start from: round after round, frames joined to those already placed by their strongest tie.
 *
 * @param known poses of centred frames that are given; null where not
 * @returns null where no chain of ties leads to a known frame
 */
export function findStartPoses(model: NetworkModel, known: readonly (Pose | null)[]): (Pose | null)[] {
  const poses = [...known];
  for (;;) {
    const proposals: Proposal[] = [];
    for (let frame = 0; frame < poses.length; frame++) {
      if (poses[frame]) continue;
      const proposal = propose(model, poses, frame);
      if (proposal) proposals.push(proposal);
    }
    if (proposals.length === 0) return poses;
    // All that are held fully; else the strongest alone, because it may help the others.
    const full = proposals.filter((p) => p.strength >= HOLDS_ALL);
    const best = proposals.reduce((most, p) => (p.strength > most.strength ? p : most));
    for (const p of full.length > 0 ? full : [best]) poses[p.frame] = p.pose;
  }
}

/** A tie that holds all six parameters counts more than any number of points that do not. */
const HOLDS_ALL = 1e9;

function propose(model: NetworkModel, poses: readonly (Pose | null)[], frame: number): Proposal | null {
  let best: Proposal | null = null;
  const offer = (pose: Pose, strength: number): void => {
    if (!best || strength > best.strength) best = { frame, pose, strength };
  };
  const source: Vec3[] = [];
  const target: Vec3[] = [];
  const place = (other: number, p: Vec3): Vec3 => {
    const pose = poses[other] as Pose;
    return add(rotate(pose.rotation, p), pose.translation);
  };
  for (const link of model.links) {
    if (link.kind === 'prior') {
      if (link.a === frame) offer(link.jobFromFrame0, weighForm(link).rank === 6 ? HOLDS_ALL : 1);
      continue;
    }
    const other = link.a === frame ? link.b : link.b === frame ? link.a : -1;
    if (other < 0 || !poses[other]) continue;
    if (link.kind === 'pair') {
      source.push(link.a === frame ? link.pointA : link.pointB);
      target.push(place(other, link.a === frame ? link.pointB : link.pointA));
    } else {
      const bFromA = link.bFromA0;
      const jobFromOther = poses[other] as Pose;
      const pose = link.a === frame ? compose(jobFromOther, bFromA) : compose(jobFromOther, invert(bFromA));
      offer(pose, weighForm(link).rank === 6 ? HOLDS_ALL + link.source.effectiveCount : 2);
    }
  }
  for (const t of model.targets) {
    const own = t.sightings.find((s) => s.frame === frame);
    const placed = t.sightings.filter((s) => s.frame !== frame && poses[s.frame]);
    if (!own || placed.length === 0) continue;
    source.push(own.position);
    target.push(
      placed
        .reduce((sum, s) => add(sum, place(s.frame, s.position)), [0, 0, 0] as Vec3)
        .map((v) => v / placed.length) as unknown as Vec3,
    );
  }
  if (source.length > 0) {
    const fit = absoluteOrientation(source, target);
    offer(fit.targetFromSource, (fit.rank === 6 ? HOLDS_ALL : 0) + source.length);
  }
  return best;
}
