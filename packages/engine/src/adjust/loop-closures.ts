import { absoluteOrientation, compose, invert, type Pose, perturb, rotationAngle, type Vec3 } from '../math/index.ts';
import type { LoopClosure } from '../model/index.ts';
import type { NetworkModel } from './network-model.ts';
import { formOf } from './weigh-form.ts';

/** A loop of ties: the relative poses around it, composed, would be the identity for perfect ties. */
export interface NetworkClosure extends LoopClosure {
  /** Ties used, in order: the first links the first two frames. */
  readonly ties: readonly string[];
  /** first <- second <- ... <- first, in the coordinates of the first frame. `translation` is its shift at the frame's centre. */
  readonly closingPose: Pose;
}

/** One tie that alone gives a full relative pose. */
interface Edge {
  readonly tie: string;
  readonly a: number;
  readonly b: number;
  readonly bFromA: Pose;
}

/** A table longer than this is not read; the loops of the first ties are the shortest anyway. */
const LARGEST_LOOP_COUNT = 500;

function findEdges(model: NetworkModel): Edge[] {
  const edges: Edge[] = [];
  const pairs = new Map<
    string,
    { tie: string; a: number; b: number; source: Vec3[]; target: Vec3[]; weights: number[] }
  >();
  const gather = (tie: string, a: number, b: number, pa: Vec3, pb: Vec3, weight: number): void => {
    if (a > b) [a, b, pa, pb] = [b, a, pb, pa];
    const key = `${a} ${b} ${tie}`;
    const group = pairs.get(key) ?? { tie, a, b, source: [], target: [], weights: [] };
    group.source.push(pa);
    group.target.push(pb);
    group.weights.push(weight);
    pairs.set(key, group);
  };
  for (const link of model.links) {
    if (link.kind === 'overlap') {
      const form = formOf(link);
      if (form.rank < 6) continue;
      const bFromA = perturb(link.bFromA0, form.best, link.reference);
      if (link.a < link.b) edges.push({ tie: link.source.tie, a: link.a, b: link.b, bFromA });
      else edges.push({ tie: link.source.tie, a: link.b, b: link.a, bFromA: invert(bFromA) });
    } else if (link.kind === 'pair') {
      gather(link.source.tie, link.a, link.b, link.pointA, link.pointB, 1 / link.source.sigma ** 2);
    }
  }
  for (const t of model.targets) {
    t.sightings.forEach((s, i) => {
      for (const o of t.sightings.slice(i + 1)) {
        if (s.frame === o.frame) continue;
        const trace =
          s.covariance[0] + s.covariance[4] + s.covariance[8] + o.covariance[0] + o.covariance[4] + o.covariance[8];
        gather('common targets', s.frame, o.frame, s.position, o.position, 3 / trace);
      }
    });
  }
  for (const { tie, a, b, source, target, weights } of pairs.values()) {
    if (source.length < 3) continue;
    const fit = absoluteOrientation(source, target, { weights });
    if (fit.rank === 6) edges.push({ tie, a, b, bFromA: fit.targetFromSource });
  }
  return edges.sort((x, y) => x.a - y.a || x.b - y.b || (x.tie < y.tie ? -1 : x.tie > y.tie ? 1 : 0));
}

/**
 * The shortest loop through each tie that closes one, from ties that give a full pose each.
 *
 * Method   spanning forest by breadth; for every other tie the shortest path between its ends over all ties before it
 *          (a basis of the loops, each as short as it can be in that order).
 */
export function findLoopClosures(model: NetworkModel): NetworkClosure[] {
  const edges = findEdges(model);
  const tree = spanningForest(model.frames.length, edges);
  const meeting: Edge[][] = model.frames.map(() => []);
  const enter = (edge: Edge): void => {
    meeting[edge.a]?.push(edge);
    meeting[edge.b]?.push(edge);
  };
  edges.forEach((edge, i) => {
    if (tree.has(i)) enter(edge);
  });
  const closures: NetworkClosure[] = [];
  edges.forEach((edge, i) => {
    if (tree.has(i) || closures.length >= LARGEST_LOOP_COUNT) return;
    const path = shortestPath(meeting, edge.a, edge.b);
    enter(edge);
    if (path) closures.push(closeLoop(model, [...path, { edge, forward: false }], edge.a));
  });
  return closures;
}

interface Step {
  readonly edge: Edge;
  /** From edge.a to edge.b. */
  readonly forward: boolean;
}

function spanningForest(count: number, edges: readonly Edge[]): Set<number> {
  const part = Array.from({ length: count }, (_, i) => i);
  const root = (i: number): number => (part[i] === i ? i : root(part[i] as number));
  const tree = new Set<number>();
  edges.forEach((e, i) => {
    const [a, b] = [root(e.a), root(e.b)];
    if (a === b) return;
    part[Math.max(a, b)] = Math.min(a, b);
    tree.add(i);
  });
  return tree;
}

/** @param meeting of each frame, the edges that end there */
function shortestPath(meeting: readonly (readonly Edge[])[], from: number, to: number): Step[] | null {
  const cameBy: (Step | null)[] = meeting.map(() => null);
  const seen = new Set([from]);
  let rim = [from];
  while (rim.length > 0 && !seen.has(to)) {
    const next: number[] = [];
    for (const at of rim) {
      for (const edge of meeting[at] as readonly Edge[]) {
        const other = edge.a === at ? edge.b : edge.a;
        if (seen.has(other)) continue;
        seen.add(other);
        cameBy[other] = { edge, forward: edge.a === at };
        next.push(other);
      }
    }
    rim = next;
  }
  if (!seen.has(to)) return null;
  const path: Step[] = [];
  for (let at = to; at !== from; ) {
    const step = cameBy[at] as Step;
    path.unshift(step);
    at = step.forward ? step.edge.a : step.edge.b;
  }
  return path;
}

/** Composes the relative poses around a loop, starting at its first frame in the order of the job, towards the smaller neighbour. */
function closeLoop(model: NetworkModel, steps: readonly Step[], start: number): NetworkClosure {
  // Steps as visited: start -> ... -> start.
  let visited: { from: number; to: number; step: Step }[] = [];
  let at = start;
  for (const step of steps) {
    const to = step.forward ? step.edge.b : step.edge.a;
    visited.push({ from: at, to, step });
    at = to;
  }
  const first = visited.reduce((least, v) => Math.min(least, v.from), Number.POSITIVE_INFINITY);
  const cut = visited.findIndex((v) => v.from === first);
  visited = [...visited.slice(cut), ...visited.slice(0, cut)];
  const last = visited.at(-1) as (typeof visited)[number];
  if (visited.length > 2 && last.from < (visited[0] as (typeof visited)[number]).to) {
    visited = visited
      .map((v) => ({ from: v.to, to: v.from, step: { edge: v.step.edge, forward: !v.step.forward } }))
      .reverse();
  }
  // first <- second <- third <- first
  let closing: Pose = { rotation: [1, 0, 0, 0], translation: [0, 0, 0] };
  for (const { step } of visited) {
    const nextFromThis = step.forward ? step.edge.bFromA : invert(step.edge.bFromA);
    closing = compose(closing, invert(nextFromThis));
  }
  const centre = model.centres[first] as Vec3;
  const outward: Pose = { rotation: [1, 0, 0, 0], translation: centre };
  return {
    frames: visited.map((v) => model.frames[v.from] as string),
    ties: visited.map((v) => v.step.edge.tie),
    translation: Math.hypot(...closing.translation),
    angle: rotationAngle(closing.rotation),
    closingPose: compose(compose(outward, closing), invert(outward)),
  };
}
