import { BlockMatrix } from './block-matrix.ts';
import type { LinearLink, NetworkState, NetworkUnknowns } from './linear-link.ts';
import { lineariseLink } from './linearise-link.ts';
import { linkFrames, linkPoints, type NetworkLink, type NetworkModel } from './network-model.ts';
import {
  gatherFollowed,
  type LinearTarget,
  lineariseTarget,
  type RobustWeight,
  timesMatrix3,
} from './target-elimination.ts';

/** The network linearised at its present state. */
export interface LinearNetwork {
  readonly state: NetworkState;
  /** Links that take part, linearised, in the order of `usedLinks`. */
  readonly links: readonly LinearLink[];
  readonly linkWeights: readonly number[];
  readonly targets: readonly LinearTarget[];
  /** Sum that the solution makes least. */
  readonly cost: number;
}

function huberWeight(limit: number | null): RobustWeight {
  return limit === null ? () => 1 : (t) => (t <= limit ? 1 : limit / t);
}

/** Huber's cost of a standardised length whose square is given. */
function huberCost(square: number, limit: number | null): number {
  if (limit === null || square <= limit * limit) return square;
  return 2 * limit * Math.sqrt(square) - limit * limit;
}

/** Single measurements can be gross; overlaps come already robust, and what is stated (priors, known points, relations) holds. */
const CAN_BE_GROSS: ReadonlySet<NetworkLink['kind']> = new Set(['pair', 'target', 'distance', 'difference', 'probe']);

/** Linearises everything that takes part. */
export function lineariseNetwork(
  model: NetworkModel,
  unknowns: NetworkUnknowns,
  state: NetworkState,
  limit: number | null,
): LinearNetwork {
  const robust = huberWeight(limit);
  let cost = 0;
  const linkWeights: number[] = [];
  const links = usedLinks(model, unknowns).map((link) => {
    const linear = lineariseLink(link, model, state, unknowns);
    const isRobust = CAN_BE_GROSS.has(link.kind);
    linkWeights.push(isRobust ? robust(Math.sqrt(linear.weightedSumSquares)) : 1);
    cost += isRobust ? huberCost(linear.weightedSumSquares, limit) : linear.weightedSumSquares;
    return linear;
  });
  const targets: LinearTarget[] = [];
  for (const target of model.targets) {
    const sightings = target.sightings.filter((s) => unknowns.usedFrames[s.frame]);
    if (sightings.length === 0) continue;
    const linear = lineariseTarget({ name: target.name, sightings }, model, state, unknowns, robust);
    targets.push(linear);
    for (const s of linear.sightings) {
      let square = 0;
      for (let i = 0; i < 3; i++) {
        for (let j = 0; j < 3; j++)
          square += (s.residual[i] as number) * (s.weight[3 * i + j] as number) * (s.residual[j] as number);
      }
      cost += huberCost(square / s.robustWeight, limit);
    }
  }
  model.terms.forEach((term, t) => {
    if (term.isEstimated) cost += ((state.terms[t] as number) / term.sigma) ** 2;
  });
  return { state, links, linkWeights, targets, cost };
}

/** Links of the model that the linearised ones stand for, in the same order. */
export function usedLinks(model: NetworkModel, unknowns: NetworkUnknowns): readonly NetworkLink[] {
  return model.links.filter(
    (link) =>
      linkFrames(link).every((f) => unknowns.usedFrames[f]) && linkPoints(link).every((p) => unknowns.usedPoints[p]),
  );
}

/** Normal matrix and right side: what a full step solves. */
export interface NormalEquations {
  readonly normal: BlockMatrix;
  readonly right: Float64Array;
}

/** Sums the normal equations; targets are eliminated on the way. */
export function assembleNormals(
  model: NetworkModel,
  unknowns: NetworkUnknowns,
  linear: LinearNetwork,
): NormalEquations {
  const { offsets, sizes } = unknowns;
  const normal = new BlockMatrix(sizes);
  const right = new Float64Array(offsets[sizes.length]);
  linear.links.forEach((l, n) => {
    const w = linear.linkWeights[n] as number;
    for (const p of l.parts) {
      for (let i = 0; i < p.width; i++) {
        for (let k = 0; k < l.size; k++) right[offsets[p.block] + i] -= w * p.jacobian[k * p.width + i] * l.slope[k];
      }
      for (const q of l.parts)
        if (q.block <= p.block) normal.addProduct(p.block, q.block, p.jacobian, l.weight, q.jacobian, l.size, w);
    }
  });
  for (const t of linear.targets) {
    // A target seen once says nothing about poses; eliminating it would leave rounding only.
    if (t.sightings.length < 2) continue;
    for (const s of t.sightings) {
      for (const p of s.parts) {
        for (const q of s.parts)
          if (q.block <= p.block) normal.addProduct(p.block, q.block, p.jacobian, s.weight, q.jacobian, 3, 1);
        for (let r = 0; r < p.width; r++) {
          let sum = 0;
          for (let k = 0; k < 3; k++) {
            for (let m = 0; m < 3; m++)
              sum += p.jacobian[k * p.width + r] * (s.weight[3 * k + m] as number) * (s.residual[m] as number);
          }
          right[offsets[p.block] + r] -= sum;
        }
      }
    }
    // What eliminating the target takes away is U_i Q U_j^T.
    const followed = gatherFollowed(t, 'parts');
    for (const f of followed) {
      const v = timesMatrix3(f.u, t.cofactor, f.width);
      for (const o of followed) if (o.block <= f.block) normal.subtractOuter(f.block, o.block, v, o.u);
    }
  }
  model.terms.forEach((term, t) => {
    const block = unknowns.blockOfTerm[t];
    if (block < 0) return;
    const w = 1 / (term.sigma * term.sigma);
    normal.at(block, block)[0] += w;
    right[offsets[block]] -= w * (linear.state.terms[t] as number);
  });
  return { normal, right };
}
