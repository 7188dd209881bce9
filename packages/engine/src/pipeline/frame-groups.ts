import { compose, IDENTITY_POSE, invert, type Pose } from '../math/index.ts';

/** A pose between two frames that is known before any surface is looked at. */
export interface FrameLink {
  readonly frameA: string;
  readonly frameB: string;
  readonly bFromA: Pose;
  /** Standard uncertainty of a point carried over, mm: the surest links are used first. */
  readonly sigma: number;
}

/** Frames that hang together by links, with their poses in the frame of the first. */
export interface FrameGroup {
  readonly frames: readonly string[];
  readonly groupFromFrame: ReadonlyMap<string, Pose>;
}

/**
 * Joins frames by the links between them. A link that closes a loop is left to the adjustment.
 *
 * @param frames all frames, in their order; each is in exactly one group
 */
export function groupFrames(frames: readonly string[], links: readonly FrameLink[]): FrameGroup[] {
  const groupOf = new Map<string, Map<string, Pose>>();
  for (const frame of frames) groupOf.set(frame, new Map([[frame, IDENTITY_POSE]]));
  const sorted = [...links].sort((x, y) => x.sigma - y.sigma);
  for (const link of sorted) {
    const a = groupOf.get(link.frameA);
    const b = groupOf.get(link.frameB);
    if (a === undefined || b === undefined || a === b) continue;
    const groupBFromGroupA = compose(
      compose(b.get(link.frameB) as Pose, link.bFromA),
      invert(a.get(link.frameA) as Pose),
    );
    for (const [frame, pose] of a) {
      b.set(frame, compose(groupBFromGroupA, pose));
      groupOf.set(frame, b);
    }
  }
  const groups: FrameGroup[] = [];
  for (const group of new Set(groupOf.values())) {
    const members = frames.filter((frame) => group.has(frame));
    const groupFromBase = invert(group.get(members[0]) as Pose);
    const poses = new Map(members.map((frame) => [frame, compose(groupFromBase, group.get(frame) as Pose)]));
    groups.push({ frames: members, groupFromFrame: poses });
  }
  return groups.sort((x, y) => frames.indexOf(x.frames[0]) - frames.indexOf(y.frames[0]));
}
