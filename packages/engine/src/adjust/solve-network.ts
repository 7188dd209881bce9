import type { RunContext } from '../base/index.ts';
import {
  add,
  multiplyQuaternions,
  normalizeQuaternion,
  type Pose,
  quaternionOfVector,
  type Vec3,
} from '../math/index.ts';
import { BlockCholesky } from './block-cholesky.ts';
import type { BlockMatrix } from './block-matrix.ts';
import type { NetworkState, NetworkUnknowns } from './linear-link.ts';
import type { NetworkModel } from './network-model.ts';
import { assembleNormals, type LinearNetwork, lineariseNetwork } from './normal-equations.ts';
import { combineMotions, freeRigidMotions, holdMotions, networkExtent, rigidMotions } from './rigid-motions.ts';

/** The solved network. */
export interface SolvedNetwork {
  readonly linear: LinearNetwork;
  readonly unknowns: NetworkUnknowns;
  readonly factor: BlockCholesky;
  /** Rigid motions that inner constraints have to hold, as combinations of the six; empty for other datums. */
  readonly heldMotions: readonly Float64Array[];
  readonly iterations: number;
  readonly converged: boolean;
}

/** How the iteration runs. */
export interface SolveNetworkSettings {
  readonly largestIterationCount: number;
  /** Huber limit of a standardised length, or null for plain least squares. */
  readonly huberLimit: number | null;
  /** Blocks at which the free motions of the whole are held for the solution; empty: nothing is held. */
  readonly hold: readonly number[];
}

interface Factored {
  readonly normal: BlockMatrix;
  readonly right: Float64Array;
  readonly factor: BlockCholesky;
  readonly heldMotions: readonly Float64Array[];
}

function factorise(
  model: NetworkModel,
  unknowns: NetworkUnknowns,
  linear: LinearNetwork,
  hold: readonly number[],
): Factored {
  const { normal, right } = assembleNormals(model, unknowns, linear);
  let heldMotions: Float64Array[] = [];
  if (hold.length > 0) {
    const motions = rigidMotions(model, unknowns, linear.state);
    heldMotions = freeRigidMotions(normal, motions, unknowns.offsets);
    holdMotions(normal, combineMotions(motions, heldMotions), hold, unknowns.offsets);
  }
  return { normal, right, factor: new BlockCholesky(normal), heldMotions };
}

/** The state after a step. */
function moveState(
  model: NetworkModel,
  unknowns: NetworkUnknowns,
  state: NetworkState,
  step: Float64Array,
): NetworkState {
  const at = (block: number, k: number): number => step[unknowns.offsets[block] + k];
  return {
    poses: state.poses.map((pose, i): Pose => {
      const b = unknowns.blockOfFrame[i];
      if (b < 0) return pose;
      const radius = model.radii[i] as number;
      const turn = quaternionOfVector([at(b, 3) / radius, at(b, 4) / radius, at(b, 5) / radius]);
      return {
        rotation: normalizeQuaternion(multiplyQuaternions(turn, pose.rotation)),
        translation: add(pose.translation, [at(b, 0), at(b, 1), at(b, 2)]),
      };
    }),
    points: state.points.map((p, i): Vec3 => {
      const b = unknowns.blockOfPoint[i];
      return b < 0 ? p : add(p, [at(b, 0), at(b, 1), at(b, 2)]);
    }),
    terms: state.terms.map((value, i) => {
      const b = unknowns.blockOfTerm[i];
      return b < 0 ? value : value + at(b, 0);
    }),
  };
}

/**
 * Makes the sum of all weighted squared residuals least over the poses of the centred frames, the points and the scales.
 *
 * Method   Gauss-Newton with targets eliminated from the normal equations; damped (Marquardt) only when a full step does
 *          not lower the sum. Directions that nothing holds stay where they started.
 */
export async function solveNetwork(
  model: NetworkModel,
  unknowns: NetworkUnknowns,
  start: NetworkState,
  settings: SolveNetworkSettings,
  context: RunContext,
): Promise<SolvedNetwork> {
  const size = networkExtent(model, unknowns, start);
  let linear = lineariseNetwork(model, unknowns, start, settings.huberLimit);
  let iterations = 0;
  let converged = unknowns.sizes.length === 0;
  let damping = 0;
  let lastStep = Number.POSITIVE_INFINITY;
  let system = factorise(model, unknowns, linear, settings.hold);
  while (!converged && iterations < settings.largestIterationCount) {
    await context.checkpoint(iterations / settings.largestIterationCount);
    iterations++;
    const step = damped(system.normal, damping, system.factor).solve(system.right);
    holdFree(system.factor, step);
    let largest = 0;
    unknowns.sizes.forEach((width, block) => {
      // A relative length as the length it makes.
      const unit = width === 1 ? size : 1;
      for (let k = unknowns.offsets[block]; k < unknowns.offsets[block + 1]; k++)
        largest = Math.max(largest, unit * Math.abs(step[k]));
    });
    const next = lineariseNetwork(model, unknowns, moveState(model, unknowns, linear.state, step), settings.huberLimit);
    // Rounding of the sum itself: a step so small cannot be judged by it.
    const isFine = largest <= 1e-6 * size;
    if (next.cost > linear.cost && !isFine) {
      damping = damping === 0 ? 1e-4 : damping * 10;
      if (damping > 1e12) break;
      continue;
    }
    damping = damping > 1e-5 ? damping / 10 : 0;
    linear = next;
    system = factorise(model, unknowns, linear, settings.hold);
    // Done when the step is rounding: below the last digits, or small and no longer shrinking.
    converged = largest <= 1e-14 * size || (largest <= 1e-8 * size && largest > lastStep / 4);
    lastStep = largest;
  }
  return { linear, unknowns, factor: system.factor, heldMotions: system.heldMotions, iterations, converged };
}

function damped(normal: BlockMatrix, damping: number, plain: BlockCholesky): BlockCholesky {
  if (damping === 0) return plain;
  const copy = normal.copy();
  copy.sizes.forEach((size, i) => {
    const own = copy.at(i, i);
    for (let k = 0; k < size; k++) own[(size + 1) * k] *= 1 + damping;
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
