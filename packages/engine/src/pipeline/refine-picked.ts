import type { RunContext } from '../base/index.ts';
import type { RefinedPose } from '../register/index.ts';
import type { KnownLinks } from './known-links.ts';
import type { RoundScan } from './overlap-round.ts';
import type { TaskRunner } from './task-runner.ts';

type Link = KnownLinks['links'][number];

/** Share of overlap from which a fine alignment of a picked link is believed. */
const LEAST_OVERLAP = 0.02;

/**
 * Brings picked links, good to some millimetres, onto the surfaces, where the scans of both frames overlap.
 *
 * A link whose surfaces give no pose stays as picked; the rounds after it try again with all ties together.
 */
export async function refinePickedLinks(
  links: readonly Link[],
  scans: readonly RoundScan[],
  runner: TaskRunner,
  context: RunContext,
): Promise<Link[]> {
  const inputs: { source: RoundScan['keyed']; target: RoundScan['keyed']; start: Link['bFromA'] }[] = [];
  const owners: number[] = [];
  links.forEach((link, index) => {
    if (link.kind !== 'picked') return;
    for (const a of scans) {
      for (const b of scans) {
        if (a.frame !== link.frameA || b.frame !== link.frameB) continue;
        inputs.push({ source: a.keyed, target: b.keyed, start: link.bFromA });
        owners.push(index);
      }
    }
  });
  if (inputs.length === 0) return [...links];
  context.progress(0, 'bringing picked scans onto each other');
  const refined = (await runner.run('refine-pair', inputs, context)) as RefinedPose[];
  return links.map((link, index) => {
    let best: RefinedPose | null = null;
    refined.forEach((pose, i) => {
      if (owners[i] !== index || pose.status !== 'converged') return;
      const share = Math.max(pose.overlapOfSource, pose.overlapOfTarget);
      if (share < LEAST_OVERLAP) return;
      if (best === null || pose.information.count > best.information.count) best = pose;
    });
    const found = best as RefinedPose | null;
    return found === null ? link : { ...link, bFromA: found.targetFromSource };
  });
}
