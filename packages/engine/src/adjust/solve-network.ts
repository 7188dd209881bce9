import type { RunContext } from '../base/index.ts';
import { multiplyQuaternions, normalizeQuaternion, type Pose, quaternionOfVector, type Vec3 } from '../math/index.ts';
import { BlockCholesky } from './block-cholesky.ts';
import { BLOCK, BlockMatrix } from './block-matrix.ts';
import { type LinearLink, lineariseLink } from './linearise-link.ts';
import type { NetworkModel } from './network-model.ts';
import { type LinearTarget, lineariseTarget, type RobustWeight } from './target-elimination.ts';

/** The network linearised at its present poses. */
export interface LinearNetwork {
  readonly poses: readonly Pose[];
  readonly links: readonly LinearLink[];
  readonly linkWeights: readonly number[];
  readonly targets: readonly LinearTarget[];
  /** Sum that the solution makes least. */
  readonly cost: number;
}

/** The solved network. */
export interface SolvedNetwork {
  readonly linear: LinearNetwork;
  /** Block of each frame among the unknowns; -1 for frames that are fixed or left out. */
  readonly blockOf: Int32Array;
  readonly factor: BlockCholesky;
  readonly iterations: number;
  readonly converged: boolean;
}

/** How the iteration runs. */
export interface SolveNetworkSettings {
  readonly largestIterationCount: number;
  /** Huber limit of a standardised length, or null for plain least squares. */
  readonly huberLimit: number | null;
}

function huberWeight(limit: number | null): RobustWeight {
  return limit === null ? () => 1 : (t) => (t <= limit ? 1 : limit / t);
}

/** Huber's cost of a standardised length whose square is given. */
function huberCost(square: number, limit: number | null): number {
  if (limit === null || square <= limit * limit) return square;
  return 2 * limit * Math.sqrt(square) - limit * limit;
}

function linearise(
  model: NetworkModel,
  used: readonly boolean[],
  poses: readonly Pose[],
  limit: number | null,
): LinearNetwork {
  const robust = huberWeight(limit);
  let cost = 0;
  const links: LinearLink[] = [];
  const linkWeights: number[] = [];
  for (const link of model.links) {
    const inside = used[link.a] === true && (link.kind === 'prior' || used[link.b] === true);
    if (!inside) continue;
    const linear = lineariseLink(link, poses, model.radii);
    links.push(linear);
    const isPair = link.kind === 'pair';
    linkWeights.push(isPair ? robust(Math.sqrt(linear.weightedSumSquares)) : 1);
    cost += isPair ? huberCost(linear.weightedSumSquares, limit) : linear.weightedSumSquares;
  }
  const targets: LinearTarget[] = [];
  for (const target of model.targets) {
    const sightings = target.sightings.filter((s) => used[s.frame]);
    if (sightings.length === 0) continue;
    const linear = lineariseTarget({ name: target.name, sightings }, poses, model.radii, robust);
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
  return { poses, links, linkWeights, targets, cost };
}

/** Links of the model that the linearised ones stand for, in the same order. */
export function usedLinks(model: NetworkModel, used: readonly boolean[]): NetworkModel['links'] {
  return model.links.filter((link) => used[link.a] && (link.kind === 'prior' || used[link.b]));
}

function assemble(
  model: NetworkModel,
  used: readonly boolean[],
  linear: LinearNetwork,
  blockOf: Int32Array,
  blockCount: number,
): { normal: BlockMatrix; right: Float64Array } {
  const normal = new BlockMatrix(blockCount);
  const right = new Float64Array(BLOCK * blockCount);
  const addRight = (
    block: number,
    jacobian: Float64Array,
    slope: ArrayLike<number>,
    size: number,
    factor: number,
  ): void => {
    for (let i = 0; i < BLOCK; i++) {
      for (let k = 0; k < size; k++)
        right[block * BLOCK + i] -= factor * jacobian[k * BLOCK + i] * (slope[k] as number);
    }
  };
  usedLinks(model, used).forEach((link, n) => {
    const l = linear.links[n] as LinearLink;
    const w = linear.linkWeights[n] as number;
    const sides: [number, Float64Array][] = [[blockOf[link.a] as number, l.jacobianA]];
    if (link.kind !== 'prior') sides.push([blockOf[link.b] as number, l.jacobianB as Float64Array]);
    for (const [i, ji] of sides) {
      if (i < 0) continue;
      addRight(i, ji, l.slope, l.size, w);
      for (const [j, jj] of sides) if (j >= 0 && j <= i) normal.addProduct(i, j, ji, l.weight, jj, l.size, w);
    }
  });
  for (const t of linear.targets) {
    // A target seen once says nothing about poses; eliminating it would leave rounding only.
    if (t.sightings.length < 2) continue;
    // U = J^T W, 6 x 3; V = U Q: what eliminating the target takes away is V_i U_j^T.
    const sides = t.sightings.map((s) => {
      const u = new Float64Array(18);
      for (let r = 0; r < BLOCK; r++) {
        for (let c = 0; c < 3; c++) {
          for (let k = 0; k < 3; k++) u[3 * r + c] += s.jacobian[k * BLOCK + r] * (s.weight[3 * k + c] as number);
        }
      }
      const v = new Float64Array(18);
      for (let r = 0; r < BLOCK; r++) {
        for (let c = 0; c < 3; c++) {
          for (let k = 0; k < 3; k++) v[3 * r + c] += u[3 * r + k] * (t.cofactor[3 * k + c] as number);
        }
      }
      return { block: blockOf[s.frame] as number, u, v, sighting: s };
    });
    for (const { block: i, u, v, sighting: s } of sides) {
      if (i < 0) continue;
      for (let r = 0; r < BLOCK; r++) {
        for (let k = 0; k < 3; k++) right[i * BLOCK + r] -= u[3 * r + k] * (s.residual[k] as number);
      }
      normal.addProduct(i, i, s.jacobian, s.weight, s.jacobian, 3, 1);
      for (const o of sides) if (o.block >= 0 && o.block <= i) normal.subtractOuter(i, o.block, v, o.u);
    }
  }
  return { normal, right };
}

function movePose(pose: Pose, step: Float64Array, block: number, radius: number): Pose {
  const at = (k: number): number => step[block * BLOCK + k] as number;
  const turn = quaternionOfVector([at(3) / radius, at(4) / radius, at(5) / radius]);
  const t = pose.translation;
  const translation: Vec3 = [t[0] + at(0), t[1] + at(1), t[2] + at(2)];
  return { rotation: normalizeQuaternion(multiplyQuaternions(turn, pose.rotation)), translation };
}

/**
 * Makes the sum of all weighted squared residuals least over the poses of the centred frames.
 *
 * Method   Gauss-Newton with targets eliminated from the normal equations; damped (Marquardt) only when a full step does
 *          not lower the sum. Directions that nothing holds stay where they started.
 *
 * @param used frames that take part
 * @param fixed index of the frame that stays, or -1
 */
export async function solveNetwork(
  model: NetworkModel,
  used: readonly boolean[],
  fixed: number,
  start: readonly Pose[],
  settings: SolveNetworkSettings,
  context: RunContext,
): Promise<SolvedNetwork> {
  const blockOf = new Int32Array(model.frames.length).fill(-1);
  let blockCount = 0;
  for (let i = 0; i < blockOf.length; i++) if (used[i] && i !== fixed) blockOf[i] = blockCount++;
  const largestRadius = model.radii.reduce((a, b) => Math.max(a, b), 0);
  let linear = linearise(model, used, start, settings.huberLimit);
  let iterations = 0;
  let converged = blockCount === 0;
  let damping = 0;
  let lastStep = Number.POSITIVE_INFINITY;
  let { normal, right } = assemble(model, used, linear, blockOf, blockCount);
  let factor = new BlockCholesky(normal);
  while (!converged && iterations < settings.largestIterationCount) {
    await context.checkpoint(iterations / settings.largestIterationCount);
    iterations++;
    const step = damped(normal, damping, factor).solve(right);
    holdFree(factor, step);
    let largest = 0;
    for (const value of step) largest = Math.max(largest, Math.abs(value));
    const poses = linear.poses.map((pose, i) =>
      (blockOf[i] as number) < 0 ? pose : movePose(pose, step, blockOf[i] as number, model.radii[i] as number),
    );
    const next = linearise(model, used, poses, settings.huberLimit);
    // Rounding of the sum itself: a step so small cannot be judged by it.
    const isFine = largest <= 1e-6 * largestRadius;
    if (next.cost > linear.cost && !isFine) {
      damping = damping === 0 ? 1e-4 : damping * 10;
      if (damping > 1e12) break;
      continue;
    }
    damping = damping > 1e-5 ? damping / 10 : 0;
    linear = next;
    ({ normal, right } = assemble(model, used, linear, blockOf, blockCount));
    factor = new BlockCholesky(normal);
    // Done when the step is rounding: below the last digits, or small and no longer shrinking.
    converged = largest <= 1e-14 * largestRadius || (largest <= 1e-8 * largestRadius && largest > lastStep / 4);
    lastStep = largest;
  }
  return { linear, blockOf, factor, iterations, converged };
}

function damped(normal: BlockMatrix, damping: number, plain: BlockCholesky): BlockCholesky {
  if (damping === 0) return plain;
  const copy = new BlockMatrix(normal.blockCount);
  normal.rows.forEach((row, i) => {
    for (const [j, block] of row) copy.at(i, j).set(block);
    const own = copy.at(i, i);
    for (let k = 0; k < BLOCK; k++) own[7 * k] *= 1 + damping;
  });
  return new BlockCholesky(copy);
}

/** Takes out of a step what it moves along directions that nothing holds. */
function holdFree(factor: BlockCholesky, step: Float64Array): void {
  const basis: Float64Array[] = [];
  for (const { motion } of factor.freeDirections) {
    const own = motion.slice();
    for (const b of basis) addScaled(own, b, -inner(own, b));
    const length = Math.sqrt(inner(own, own));
    if (!(length > 0)) continue;
    basis.push(own.map((v) => v / length));
  }
  for (const b of basis) addScaled(step, b, -inner(step, b));
}

function inner(a: Float64Array, b: Float64Array): number {
  let sum = 0;
  for (let i = 0; i < a.length; i++) sum += a[i] * b[i];
  return sum;
}

function addScaled(a: Float64Array, b: Float64Array, factor: number): void {
  for (let i = 0; i < a.length; i++) a[i] += factor * b[i];
}
