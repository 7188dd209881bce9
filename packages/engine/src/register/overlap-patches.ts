import type { OverlapPatches } from '../model/index.ts';
import type { Observations } from './plane-matching.ts';

/** Cell number of each observation, numbered in the order in which cells are met, and how many there are. */
export function cellsOfObservations(
  observations: Observations,
  cellSize: number,
): { readonly cellOf: Int32Array; readonly cellCount: number } {
  const { count, levers, weights } = observations;
  const cellOf = new Int32Array(count).fill(-1);
  const known = new Map<string, number>();
  for (let i = 0; i < count; i++) {
    if (!(weights[i] > 0)) continue;
    const key = `${Math.floor(levers[3 * i] / cellSize)} ${Math.floor(levers[3 * i + 1] / cellSize)} ${Math.floor(levers[3 * i + 2] / cellSize)}`;
    let cell = known.get(key);
    if (cell === undefined) {
      cell = known.size;
      known.set(key, cell);
    }
    cellOf[i] = cell;
  }
  return { cellOf, cellCount: known.size };
}

/**
 * How many independent observations the matches are worth when all within one cell share one error: the square of the sum of
 * weights over the sum of the squares of the cells' weights (Kish 1965).
 */
export function effectiveCount(observations: Observations, cellOf: Int32Array, cellCount: number): number {
  const sums = new Float64Array(cellCount);
  let total = 0;
  for (let i = 0; i < observations.count; i++) {
    if (cellOf[i] < 0) continue;
    sums[cellOf[i]] += observations.weights[i];
    total += observations.weights[i];
  }
  let squares = 0;
  for (const sum of sums) squares += sum * sum;
  return squares > 0 ? (total * total) / squares : 0;
}

/** Means of weight, lever, Jacobian about `reference`, and residual in each cell; stays in the observations' frame. */
export function meansOfCells(
  observations: Observations,
  cellOf: Int32Array,
  cellCount: number,
  reference: ArrayLike<number>,
): OverlapPatches {
  const weights = new Float64Array(cellCount);
  const places = new Float64Array(3 * cellCount);
  const jacobians = new Float64Array(6 * cellCount);
  const residuals = new Float64Array(cellCount);
  const squares = new Float64Array(cellCount);
  const spreads = new Float64Array(cellCount);
  const [cx, cy, cz] = [reference[0] as number, reference[1] as number, reference[2] as number];
  for (let i = 0; i < observations.count; i++) {
    const cell = cellOf[i];
    if (cell < 0) continue;
    const w = observations.weights[i];
    const x = observations.levers[3 * i];
    const y = observations.levers[3 * i + 1];
    const z = observations.levers[3 * i + 2];
    const nx = observations.normals[3 * i];
    const ny = observations.normals[3 * i + 1];
    const nz = observations.normals[3 * i + 2];
    weights[cell] += w;
    places[3 * cell] += w * x;
    places[3 * cell + 1] += w * y;
    places[3 * cell + 2] += w * z;
    residuals[cell] += w * observations.residuals[i];
    squares[cell] += w * (x * x + y * y + z * z);
    const at = 6 * cell;
    jacobians[at] += w * nx;
    jacobians[at + 1] += w * ny;
    jacobians[at + 2] += w * nz;
    jacobians[at + 3] += w * ((y - cy) * nz - (z - cz) * ny);
    jacobians[at + 4] += w * ((z - cz) * nx - (x - cx) * nz);
    jacobians[at + 5] += w * ((x - cx) * ny - (y - cy) * nx);
  }
  for (let cell = 0; cell < cellCount; cell++) {
    const inverse = 1 / weights[cell];
    for (let a = 0; a < 3; a++) places[3 * cell + a] *= inverse;
    for (let a = 0; a < 6; a++) jacobians[6 * cell + a] *= inverse;
    residuals[cell] *= inverse;
    let mean = 0;
    for (let a = 0; a < 3; a++) mean += places[3 * cell + a] ** 2;
    // Two axes lie in the surface.
    spreads[cell] = Math.sqrt(Math.max(0, squares[cell] * inverse - mean) / 2);
  }
  return { count: cellCount, weights, places, spreads, jacobians, residuals };
}

/** Patches wanted in one overlap: more say no more about the pose, and the cost of their covariance grows with the cube. */
const LARGEST_PATCH_COUNT = 150;

/** The finest cells, from `finest` upward in steps of the square root of two, that are not too many. */
export function patchesOfObservations(
  observations: Observations,
  finest: number,
  reference: ArrayLike<number>,
): OverlapPatches {
  for (let size = finest; ; size *= Math.SQRT2) {
    const { cellOf, cellCount } = cellsOfObservations(observations, size);
    if (cellCount <= LARGEST_PATCH_COUNT) return meansOfCells(observations, cellOf, cellCount, reference);
  }
}
