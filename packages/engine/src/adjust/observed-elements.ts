import { type Matrix3, multiplyMatrix3Vector, type Pose, subtract } from '../math/index.ts';
import type { AdjustableObservation } from '../model/index.ts';
import { type LinearPart, type NetworkUnknowns, pointMotion } from './linear-link.ts';
import { linkFrames, type NetworkLink, type NetworkModel } from './network-model.ts';
import { type LinearNetwork, usedLinks } from './normal-equations.ts';

/** One measurement as the solution sees it: a link, or one sighting of an eliminated target. */
export interface ObservedElement {
  readonly tie: string;
  readonly kind: NetworkLink['kind'];
  /** Names of the frames it touches. */
  readonly frames: readonly string[];
  /** Name of the point or target, or number of the link within its tie from 1. */
  readonly name: string;
  readonly source: AdjustableObservation;
  /** Null for sightings. */
  readonly link: NetworkLink | null;
  readonly group: number;
  readonly size: number;
  /** size x size, with the robust weight. */
  readonly weight: Float64Array;
  /** Half the slope of the cost: weight times residual. */
  readonly slope: Float64Array;
  readonly weightedSumSquares: number;
  readonly rank: number;
  readonly parts: readonly LinearPart[];
  readonly considered: readonly LinearPart[];
  /** How it changes when what one frame shows in it is moved (size x 6), by frame: also for the frame that is fixed. */
  readonly motions: ReadonlyMap<string, Float64Array>;
}

/** Elements whose errors meet in one eliminated target, or a link alone. */
export interface ElementGroup {
  /** Indices of elements. */
  readonly members: readonly number[];
  /** Inverse of the sum of the members' weights; null for a link. */
  readonly cofactor: Matrix3 | null;
}

/** What holds the network besides measurements: priors and the sigmas of estimated scale terms. */
export interface HeldInformation {
  readonly size: number;
  readonly weight: Float64Array;
  readonly slope: Float64Array;
  readonly parts: readonly LinearPart[];
}

/** All measurements of a solved network. */
export interface ObservedElements {
  readonly held: readonly HeldInformation[];
  readonly elements: readonly ObservedElement[];
  readonly groups: readonly ElementGroup[];
  readonly sizes: readonly number[];
  readonly offsets: Int32Array;
}

/** Gathers the measurements of a solved network, in the order of its links, then its targets. */
export function observeElements(
  model: NetworkModel,
  unknowns: NetworkUnknowns,
  linear: LinearNetwork,
): ObservedElements {
  const elements: ObservedElement[] = [];
  const groups: ElementGroup[] = [];
  const held: HeldInformation[] = [];
  const numberInTie = new Map<string, number>();
  usedLinks(model, unknowns).forEach((link, n) => {
    const l = linear.links[n] as LinearNetwork['links'][number];
    if (link.kind === 'prior') {
      held.push(l);
      return;
    }
    const robust = linear.linkWeights[n] as number;
    const number = (numberInTie.get(link.source.tie) ?? 0) + 1;
    numberInTie.set(link.source.tie, number);
    const motions = new Map(l.frames.map(([frame, jacobian]) => [model.frames[frame] as string, jacobian]));
    groups.push({ members: [elements.length], cofactor: null });
    elements.push({
      tie: link.source.tie,
      kind: link.kind,
      frames: linkFrames(link).map((f) => model.frames[f] as string),
      name: nameOf(link) ?? String(number),
      source: link.source,
      link,
      group: groups.length - 1,
      size: l.size,
      weight: robust === 1 ? l.weight : l.weight.map((w) => w * robust),
      slope: robust === 1 ? l.slope : l.slope.map((s) => s * robust),
      weightedSumSquares: robust * l.weightedSumSquares,
      rank: l.rank,
      parts: l.parts,
      considered: l.considered,
      motions,
    });
  });
  for (const t of linear.targets) {
    // Seen once it says nothing about anything but itself.
    if (t.sightings.length < 2) continue;
    const members: number[] = [];
    t.sightings.forEach((s, i) => {
      const source = (t.target.sightings[i] as (typeof t.target.sightings)[number]).source;
      const slope = multiplyMatrix3Vector(s.weight, s.residual);
      const arm = subtract(t.position, (linear.state.poses[s.frame] as Pose).translation);
      members.push(elements.length);
      elements.push({
        tie: source.tie,
        kind: 'target',
        frames: [source.frame],
        name: t.target.name,
        source,
        link: null,
        group: groups.length,
        size: 3,
        weight: Float64Array.from(s.weight),
        slope: Float64Array.from(slope),
        weightedSumSquares: s.residual[0] * slope[0] + s.residual[1] * slope[1] + s.residual[2] * slope[2],
        rank: 3,
        parts: s.parts,
        considered: s.considered,
        motions: new Map([[source.frame, pointMotion(arm, model.radii[s.frame] as number, 1)]]),
      });
    });
    groups.push({ members, cofactor: t.cofactor });
  }
  model.terms.forEach((term, t) => {
    const block = unknowns.blockOfTerm[t];
    if (block < 0) return;
    const weight = 1 / (term.sigma * term.sigma);
    held.push({
      size: 1,
      weight: Float64Array.of(weight),
      slope: Float64Array.of(weight * (linear.state.terms[t] as number)),
      parts: [{ block, width: 1, jacobian: Float64Array.of(1) }],
    });
  });
  return { elements, groups, held, sizes: unknowns.sizes, offsets: unknowns.offsets };
}

function nameOf(link: NetworkLink): string | null {
  switch (link.kind) {
    case 'target':
      return link.source.target;
    case 'distance':
    case 'difference':
      return `${link.source.pointA} to ${link.source.pointB}`;
    case 'known-point':
      return link.source.point;
    default:
      return null;
  }
}

/** Weight that couples two elements of one group (rows of a, columns of b); for sightings what is left after the target. */
export function couplingWeight(observed: ObservedElements, a: number, b: number): Float64Array | null {
  const [first, second] = [observed.elements[a] as ObservedElement, observed.elements[b] as ObservedElement];
  if (first.group !== second.group) return null;
  const { cofactor } = observed.groups[first.group] as ElementGroup;
  if (cofactor === null) return first.weight;
  const out = a === b ? first.weight.slice() : new Float64Array(9);
  for (let i = 0; i < 3; i++) {
    for (let j = 0; j < 3; j++) {
      let sum = 0;
      for (let k = 0; k < 3; k++) {
        for (let m = 0; m < 3; m++)
          sum += first.weight[3 * i + k] * (cofactor[3 * k + m] as number) * second.weight[3 * m + j];
      }
      out[3 * i + j] -= sum;
    }
  }
  return out;
}
