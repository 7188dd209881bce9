import type { RunContext } from '../base/index.ts';
import { norm, symmetricEigen, type Vec3 } from '../math/index.ts';
import type { NetworkObservation, Tie } from '../model/index.ts';
import { alignPickedPairs, matchTargetConstellations, type TargetPair } from '../register/index.ts';
import type { AlignInput, AlignTargetList } from './align-input.ts';
import type { FrameLink } from './frame-groups.ts';

/** What picked points and common targets say before any surface is looked at. */
export interface KnownLinks {
  readonly links: readonly (FrameLink & { readonly tie: string; readonly kind: 'picked' | 'targets' })[];
  readonly observations: readonly NetworkObservation[];
}

type PickedTie = Extract<Tie, { readonly kind: 'picked' }>;

/** Reads picked pairs and finds common targets. What gives no pose is said as a finding and left out. */
export async function findKnownLinks(input: AlignInput, context: RunContext): Promise<KnownLinks> {
  const links: (FrameLink & { tie: string; kind: 'picked' | 'targets' })[] = [];
  const observations: NetworkObservation[] = [];
  for (const tie of input.ties) {
    if (tie.kind !== 'picked' || tie.frameA === tie.frameB) continue;
    const link = readPicked(tie, context);
    if (link === null) continue;
    links.push(link);
    for (const pair of tie.pairs) {
      observations.push({ kind: 'pair', tie: tie.id, frameA: tie.frameA, frameB: tie.frameB, ...pair });
    }
  }
  const pairs: { a: AlignTargetList; b: AlignTargetList; pairs: readonly TargetPair[]; tie: string }[] = [];
  const lists = input.targetLists;
  for (let i = 0; i < lists.length; i++) {
    for (let j = i + 1; j < lists.length; j++) {
      const a = lists[i];
      const b = lists[j];
      await context.checkpoint((i * lists.length + j) / lists.length ** 2, `common targets of ${a.name} and ${b.name}`);
      if (a.frame === b.frame) continue;
      const match = await matchTargetConstellations(a.targets, b.targets, {}, context.part(0, 0));
      const tie = `targets-${a.id}-${b.id}`;
      if (match.status === 'refused' || match.bFromA === null || match.covariance === null) {
        const isTrouble = match.reason !== 'no-match' && match.reason !== 'too-few-targets';
        context.findings.add({
          severity: isTrouble ? 'warning' : 'note',
          code: `targets-${match.reason ?? 'refused'}`,
          subject: tie,
          message: `${a.name} and ${b.name}: ${match.message}`,
          remedy: match.remedy,
        });
        continue;
      }
      const sigma = largestSemiAxis(match.covariance) + spreadOfRotation(match.covariance, match.pairs, a);
      links.push({ frameA: a.frame, frameB: b.frame, bFromA: match.bFromA, sigma, tie, kind: 'targets' });
      pairs.push({ a, b, pairs: match.pairs, tie });
    }
  }
  observations.push(...targetObservations(pairs));
  return { links, observations };
}

function readPicked(tie: PickedTie, context: RunContext): (FrameLink & { tie: string; kind: 'picked' }) | null {
  const picked = alignPickedPairs(tie.pairs, { subject: tie.id });
  for (const warning of picked.warnings) context.findings.add(warning);
  if (picked.bFromA === null || picked.covariance === null) {
    context.findings.add({
      severity: 'warning',
      code: `picked-${picked.reason ?? 'refused'}`,
      subject: tie.id,
      message: picked.message,
      remedy: picked.remedy,
    });
    return null;
  }
  const sigma = Math.max(picked.rms ?? 0, largestSemiAxis(picked.covariance), ...tie.pairs.map((pair) => pair.sigma));
  return { frameA: tie.frameA, frameB: tie.frameB, bFromA: picked.bFromA, sigma, tie: tie.id, kind: 'picked' };
}

/** Largest standard uncertainty of the position, mm. */
function largestSemiAxis(covariance: readonly number[]): number {
  const block = [0, 1, 2].flatMap((r) => [0, 1, 2].map((c) => covariance[6 * r + c]));
  return Math.sqrt(Math.max(0, symmetricEigen(block, 3).values[2]));
}

/** What the rotation's uncertainty adds at the rms arm of the matched targets, mm. */
function spreadOfRotation(covariance: readonly number[], pairs: readonly TargetPair[], list: AlignTargetList): number {
  const block = [3, 4, 5].flatMap((r) => [3, 4, 5].map((c) => covariance[6 * r + c]));
  const points = pairs.map((pair) => list.targets[pair.a].position);
  const centre: Vec3 = [0, 1, 2].map((k) => points.reduce((sum, p) => sum + p[k], 0) / points.length) as never;
  const arm = Math.max(...points.map((p) => norm([p[0] - centre[0], p[1] - centre[1], p[2] - centre[2]])));
  return arm * Math.sqrt(Math.max(0, symmetricEigen(block, 3).values[2]));
}

/** Targets that lists have in common become unknown points; one seen in three lists is one point. */
function targetObservations(
  matches: readonly { a: AlignTargetList; b: AlignTargetList; pairs: readonly TargetPair[]; tie: string }[],
): NetworkObservation[] {
  const parent = new Map<string, string>();
  const find = (key: string): string => {
    let at = key;
    while (parent.get(at) !== undefined && parent.get(at) !== at) at = parent.get(at) as string;
    return at;
  };
  const keyOf = (list: AlignTargetList, index: number): string => `${list.id}/${index}`;
  for (const { a, b, pairs } of matches) {
    for (const pair of pairs) {
      const x = find(keyOf(a, pair.a));
      const y = find(keyOf(b, pair.b));
      // The lower key is the name of the point, whatever the order of the matches.
      const [low, high] = [x, y].sort();
      parent.set(low, low);
      parent.set(high, low);
    }
  }
  const listOf = new Map(matches.flatMap(({ a, b }) => [a, b]).map((list) => [list.id, list]));
  // The name a person knows; the number only where a list uses a name twice.
  const label = (key: string): string => {
    const [id, index] = [key.slice(0, key.lastIndexOf('/')), Number(key.slice(key.lastIndexOf('/') + 1))];
    const list = listOf.get(id) as AlignTargetList;
    const { name } = list.targets[index];
    const isUnique = list.targets.filter((target) => target.name === name).length === 1;
    return `${name} of ${list.name}${isUnique ? '' : ` (row ${index + 1})`}`;
  };
  const seen = new Set<string>();
  const observations: NetworkObservation[] = [];
  for (const { a, b, pairs, tie } of matches) {
    for (const pair of pairs) {
      for (const [list, index] of [
        [a, pair.a],
        [b, pair.b],
      ] as const) {
        const key = keyOf(list, index);
        if (seen.has(key)) continue;
        seen.add(key);
        const { position, sigma } = list.targets[index];
        const v = sigma * sigma;
        const covariance = [v, 0, 0, 0, v, 0, 0, 0, v];
        observations.push({ kind: 'target', tie, frame: list.frame, target: label(find(key)), position, covariance });
      }
    }
  }
  return observations;
}
