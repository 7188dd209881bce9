import { absoluteOrientation, add, compose, invert, type Pose, rotate, subtract, type Vec3 } from '../math/index.ts';
import type { NetworkModel } from './network-model.ts';
import { formOf } from './weigh-form.ts';

interface Proposal {
  readonly frame: number;
  readonly pose: Pose;
  /** Larger is better: ties that hold all six first, then by the number of points. */
  readonly strength: number;
}

/** Where the iteration starts; null for what no chain of ties leads to. */
export interface StartState {
  readonly poses: readonly (Pose | null)[];
  readonly points: readonly (Vec3 | null)[];
}

/**
 * Places to start from: round after round, frames joined to those already placed by their strongest tie, and points placed by
 * what sees or measures them. Distances alone place nothing.
 *
 * @param knownPoses poses of centred frames that are given; null where not
 * @param knownPoints places of points that are given, relative to the job offset
 */
export function findStart(
  model: NetworkModel,
  knownPoses: readonly (Pose | null)[],
  knownPoints: readonly (Vec3 | null)[],
): StartState {
  const poses = [...knownPoses];
  const points = [...knownPoints];
  for (;;) {
    placePoints(model, poses, points);
    const proposals: Proposal[] = [];
    for (let frame = 0; frame < poses.length; frame++) {
      if (poses[frame]) continue;
      const proposal = propose(model, poses, points, frame);
      if (proposal) proposals.push(proposal);
    }
    if (proposals.length === 0) return { poses, points };
    // All that are held fully; else the strongest alone, because it may help the others.
    const full = proposals.filter((p) => p.strength >= HOLDS_ALL);
    const best = proposals.reduce((most, p) => (p.strength > most.strength ? p : most));
    for (const p of full.length > 0 ? full : [best]) poses[p.frame] = p.pose;
  }
}

/** A tie that holds all six parameters counts more than any number of points that do not. */
const HOLDS_ALL = 1e9;

const carry = (pose: Pose, p: Vec3): Vec3 => add(rotate(pose.rotation, p), pose.translation);

/** Points that a placed frame sees, that are known, or that a measured vector leads to from a placed one. */
function placePoints(model: NetworkModel, poses: readonly (Pose | null)[], points: (Vec3 | null)[]): void {
  for (let changed = true; changed; ) {
    changed = false;
    for (const link of model.links) {
      if (link.kind === 'known-point') {
        if (points[link.point]) continue;
        points[link.point] = link.position;
      } else if (link.kind === 'target') {
        const pose = poses[link.sighting.frame];
        if (points[link.point] || !pose) continue;
        points[link.point] = carry(pose, link.sighting.position);
      } else if (link.kind === 'difference') {
        const [from, to] = [points[link.from], points[link.to]];
        if (from && !to) points[link.to] = add(from, link.source.vector);
        else if (to && !from) points[link.from] = subtract(to, link.source.vector);
        else continue;
      } else continue;
      changed = true;
    }
  }
}

function propose(
  model: NetworkModel,
  poses: readonly (Pose | null)[],
  points: readonly (Vec3 | null)[],
  frame: number,
): Proposal | null {
  let best: Proposal | null = null;
  const offer = (pose: Pose, strength: number): void => {
    if (!best || strength > best.strength) best = { frame, pose, strength };
  };
  const source: Vec3[] = [];
  const target: Vec3[] = [];
  for (const link of model.links) {
    if (link.kind === 'prior') {
      if (link.a === frame) offer(link.jobFromFrame0, formOf(link).rank === 6 ? HOLDS_ALL : 1);
    } else if (link.kind === 'target') {
      const place = points[link.point];
      if (link.sighting.frame !== frame || !place) continue;
      source.push(link.sighting.position);
      target.push(place);
    } else if (link.kind === 'pair' || link.kind === 'overlap') {
      const isA = link.a === frame;
      const other = poses[isA ? link.b : link.a];
      if ((!isA && link.b !== frame) || !other) continue;
      if (link.kind === 'pair') {
        source.push(isA ? link.pointA : link.pointB);
        target.push(carry(other, isA ? link.pointB : link.pointA));
      } else {
        const pose = compose(other, isA ? link.bFromA0 : invert(link.bFromA0));
        offer(pose, formOf(link).rank === 6 ? HOLDS_ALL + link.source.effectiveCount : 2);
      }
    }
  }
  for (const t of model.targets) {
    const own = t.sightings.find((s) => s.frame === frame);
    const placed = t.sightings.filter((s) => s.frame !== frame && poses[s.frame]);
    if (!own || placed.length === 0) continue;
    source.push(own.position);
    target.push(
      placed
        .reduce((sum, s) => add(sum, carry(poses[s.frame] as Pose, s.position)), [0, 0, 0] as Vec3)
        .map((v) => v / placed.length) as unknown as Vec3,
    );
  }
  if (source.length > 0) {
    const fit = absoluteOrientation(source, target);
    offer(fit.targetFromSource, (fit.rank === 6 ? HOLDS_ALL : 0) + source.length);
  }
  return best;
}
