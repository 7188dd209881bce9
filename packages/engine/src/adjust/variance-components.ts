import { makeRandom } from '../base/index.ts';
import { choleskyFactor, choleskySolve } from '../math/index.ts';
import type { VarianceComponent } from '../model/index.ts';
import type { ObservedElement, ObservedElements } from './observed-elements.ts';
import { type RescaledNetwork, WhitenedNetwork } from './whitened-network.ts';

/** Options of `estimateVarianceComponents`. */
export interface VarianceComponentOptions {
  readonly largestIterationCount: number;
  /** Done when no factor changes by more than this share. */
  readonly tolerance: number;
  /** Groups with less redundancy keep the factor one: what they have says nothing. */
  readonly leastRedundancy: number;
}

/** A tenth of a per cent is far below what any redundancy can tell; ten: below that a factor is known to 45 % at best. */
export const VARIANCE_COMPONENT_DEFAULTS: VarianceComponentOptions = {
  largestIterationCount: 12,
  tolerance: 1e-3,
  leastRedundancy: 10,
};

/** Change of a factor after which the coupling of the groups is another. */
const LONG_STEP = 0.25;

/** Draws that the coupling of the groups is estimated from; the factors themselves do not depend on them. */
const DRAWS = 8;

/**
 * Estimates by how much the stated variances of each group of measurements are wrong.
 *
 * Method   iterated Helmert estimate: weighted sums of squares of the groups against what they should be, solved until each equals
 *          its redundancy [Foerstner79]; the fixed point is that of restricted maximum likelihood. The coupling of the groups
 *          (squares that noise of one group leaves in another) is estimated by drawing, which sets the step and the stated
 *          uncertainty, not the result. Uncertainty sqrt(2 S^-1).
 * Assumes  normal errors, no blunders: leave out suspects first.
 *
 * @param groupOf name of the group of a measurement; null: its variance stays as stated
 * @returns in the order in which groups first appear
 */
export function estimateVarianceComponents(
  observed: ObservedElements,
  groupOf: (element: ObservedElement) => string | null,
  options: Partial<VarianceComponentOptions> = {},
): VarianceComponent[] {
  const settings = { ...VARIANCE_COMPONENT_DEFAULTS, ...options };
  const names: string[] = [];
  const groupIndex = observed.elements.map((e) => {
    const name = groupOf(e);
    if (name === null) return -1;
    if (!names.includes(name)) names.push(name);
    return names.indexOf(name);
  });
  if (names.length === 0) return [];
  const network = new WhitenedNetwork(observed);
  const count = names.length;
  const sum = (values: ArrayLike<number>, g: number): number => {
    let total = 0;
    groupIndex.forEach((own, i) => {
      if (own === g) total += values[i] as number;
    });
    return total;
  };
  const observationCounts = names.map((_, g) => sum(network.ranks, g));
  const factors = names.map(() => 1);
  const scale = (): number[] => groupIndex.map((g) => (g < 0 ? 1 : (factors[g] as number)));
  const random = makeRandom(1, 'variance components');
  let redundancies = names.map(() => 0);
  let coupling: Float64Array = new Float64Array(count * count);
  let isFree = names.map(() => false);
  let lastStep = Number.POSITIVE_INFINITY;
  for (let iteration = 0; iteration < settings.largestIterationCount; iteration++) {
    const solved = network.rescale(scale());
    const numbers = solved.redundancies();
    redundancies = names.map((_, g) => sum(numbers, g));
    // Frozen once: a group must not come and go between iterations.
    if (iteration === 0) isFree = redundancies.map((r) => r >= settings.leastRedundancy);
    const squares = squaresOf(solved.residuals(null), groupIndex, factors);
    // Drawn again only after long steps: what groups leave in each other changes slowly.
    if (lastStep > LONG_STEP) coupling = drawCoupling(solved, network.ranks, groupIndex, factors, redundancies, random);
    else settleDiagonal(coupling, redundancies);
    const ratios = nextRatios(squares, redundancies, coupling, isFree);
    let largest = 0;
    ratios.forEach((ratio, g) => {
      factors[g] = (factors[g] as number) * ratio;
      largest = Math.max(largest, Math.abs(ratio - 1));
    });
    lastStep = largest;
    if (largest <= settings.tolerance) break;
  }
  const spread = uncertainties(coupling, isFree);
  return names.map((group, g) => ({
    group,
    factor: factors[g] as number,
    uncertainty: isFree[g] ? (factors[g] as number) * (spread[g] as number) : null,
    redundancy: redundancies[g] as number,
    observationCount: observationCounts[g] as number,
  }));
}

/** Weighted sums of squares by group, in the present variances. */
function squaresOf(
  residuals: readonly Float64Array[],
  groupIndex: readonly number[],
  factors: readonly number[],
): number[] {
  const squares = factors.map(() => 0);
  residuals.forEach((y, i) => {
    const g = groupIndex[i] as number;
    if (g < 0) return;
    let square = 0;
    for (const value of y) square += value * value;
    squares[g] = (squares[g] as number) + square / (factors[g] as number);
  });
  return squares;
}

/** Expected squares in each group (rows) from unit noise in each group (columns); rows sum to the redundancies. */
function drawCoupling(
  solved: RescaledNetwork,
  ranks: readonly number[],
  groupIndex: readonly number[],
  factors: readonly number[],
  redundancies: readonly number[],
  random: ReturnType<typeof makeRandom>,
): Float64Array {
  const count = factors.length;
  const coupling = new Float64Array(count * count);
  for (let g = 0; count > 1 && g < count; g++) {
    for (let draw = 0; draw < DRAWS; draw++) {
      const noise = ranks.map((rank, i) => {
        const z = new Float64Array(rank);
        if (groupIndex[i] !== g) return z;
        const sigma = Math.sqrt(factors[g] as number);
        return z.map(() => (random.uniform() < 0.5 ? -sigma : sigma));
      });
      squaresOf(solved.residuals(noise), groupIndex, factors).forEach((square, h) => {
        coupling[h * count + g] += square / DRAWS;
      });
    }
  }
  for (let g = 0; g < count; g++) {
    for (let h = 0; h < g; h++) {
      const mean = (coupling[g * count + h] + coupling[h * count + g]) / 2;
      coupling[g * count + h] = mean;
      coupling[h * count + g] = mean;
    }
  }
  settleDiagonal(coupling, redundancies);
  return coupling;
}

/** The diagonal from what is known exactly, so that the draws cannot move the fixed point. */
function settleDiagonal(coupling: Float64Array, redundancies: readonly number[]): void {
  const count = redundancies.length;
  for (let g = 0; g < count; g++) {
    let others = 0;
    for (let h = 0; h < count; h++) if (h !== g) others += coupling[g * count + h];
    coupling[g * count + g] = Math.max((redundancies[g] as number) - others, 1e-3 * (redundancies[g] as number));
  }
}

/** Factors by which to multiply: Helmert's step where it is sound, else the plain ratio. */
function nextRatios(
  squares: readonly number[],
  redundancies: readonly number[],
  coupling: Float64Array,
  isFree: readonly boolean[],
): number[] {
  const count = squares.length;
  const free = isFree.flatMap((f, g) => (f ? [g] : []));
  const plain = squares.map((square, g) => (isFree[g] ? Math.max(1e-3, square / (redundancies[g] as number)) : 1));
  const n = free.length;
  if (n < 2) return plain;
  const matrix = Float64Array.from({ length: n * n }, (_, e) => {
    const [g, h] = [free[Math.floor(e / n)] as number, free[e % n] as number];
    return coupling[g * count + h];
  });
  const factor = choleskyFactor(matrix, n);
  if (!factor) return plain;
  const right = free.map((g) => {
    let held = 0;
    for (let h = 0; h < count; h++) if (!isFree[h]) held += coupling[g * count + h];
    return (squares[g] as number) - held;
  });
  const ratios = choleskySolve(factor, n, right);
  const out = plain.slice();
  // A step too long (or below zero) belongs to the linear model alone.
  if (!ratios.every((r) => r > 0.1 && r < 10)) return plain;
  free.forEach((g, k) => {
    out[g] = ratios[k];
  });
  return out;
}

/** Relative standard uncertainty of each factor. */
function uncertainties(coupling: Float64Array, isFree: readonly boolean[]): number[] {
  const count = isFree.length;
  const free = isFree.flatMap((f, g) => (f ? [g] : []));
  const n = free.length;
  const matrix = Float64Array.from({ length: n * n }, (_, e) => {
    const [g, h] = [free[Math.floor(e / n)] as number, free[e % n] as number];
    return coupling[g * count + h];
  });
  const factor = n > 0 ? choleskyFactor(matrix, n) : null;
  const out = isFree.map(() => Number.POSITIVE_INFINITY);
  free.forEach((g, k) => {
    if (!factor) out[g] = Math.sqrt(2 / coupling[g * count + g]);
    else {
      const unit = new Float64Array(n);
      unit[k] = 1;
      out[g] = Math.sqrt(2 * choleskySolve(factor, n, unit)[k]);
    }
  });
  return out;
}
