import { buildPointIndex } from '../geometry/index.ts';
import type { CoarseSurface } from './coarse-surface.ts';

/** Bins of each of the three angles. */
const BINS = 11;

/** Numbers of one descriptor. */
export const FEATURE_LENGTH: number = 3 * BINS;

/**
 * Describes the surroundings of every sample by how the normals turn in them.
 *
 * Method   fast point feature histograms [Rusu09]: three angles between the normals of each pair of neighbours, 11 bins
 *          each, a sample's own histogram plus the distance-weighted mean of its neighbours' ones. Each third is scaled to
 *          sum one and its square root is taken, so that the Euclidean distance is Hellinger's, which a single
 *          strong bin does not rule.
 * Assumes  oriented normals; turning all of them gives other descriptors.
 *
 * @param radius mm, reach of one neighbourhood; about five spacings
 * @returns `FEATURE_LENGTH` numbers a sample; all zero where a sample has fewer than five neighbours
 */
export function describeCoarseSurface(surface: CoarseSurface, radius: number): Float32Array {
  const { positions, normals, count } = surface;
  const index = buildPointIndex(positions);
  const { offsets, indices } = index.withinRadius(positions, radius);
  index.dispose();
  const simple = new Float32Array(count * FEATURE_LENGTH);
  for (let i = 0; i < count; i++) {
    const at = i * FEATURE_LENGTH;
    let pairs = 0;
    for (let k = offsets[i]; k < offsets[i + 1]; k++) {
      const j = indices[k];
      if (j !== i && addPair(positions, normals, i, j, simple, at)) pairs++;
    }
    if (pairs > 0) for (let b = 0; b < FEATURE_LENGTH; b++) simple[at + b] /= pairs;
  }
  const features = new Float32Array(count * FEATURE_LENGTH);
  for (let i = 0; i < count; i++) {
    const at = i * FEATURE_LENGTH;
    const neighbours = offsets[i + 1] - offsets[i] - 1;
    if (neighbours < 5) continue;
    for (let k = offsets[i]; k < offsets[i + 1]; k++) {
      const j = indices[k];
      if (j === i) continue;
      const d = Math.hypot(
        positions[3 * j] - positions[3 * i],
        positions[3 * j + 1] - positions[3 * i + 1],
        positions[3 * j + 2] - positions[3 * i + 2],
      );
      const weight = surface.spacing / Math.max(d, surface.spacing);
      for (let b = 0; b < FEATURE_LENGTH; b++) features[at + b] += weight * simple[j * FEATURE_LENGTH + b];
    }
    for (let b = 0; b < FEATURE_LENGTH; b++) features[at + b] = simple[at + b] + features[at + b] / neighbours;
    normalizeThirds(features, at);
  }
  return features;
}

/** Adds one pair to the histogram of `i`; false for coincident points. */
function addPair(
  positions: Float32Array,
  normals: Float32Array,
  i: number,
  j: number,
  out: Float32Array,
  at: number,
): boolean {
  const dx = positions[3 * j] - positions[3 * i];
  const dy = positions[3 * j + 1] - positions[3 * i + 1];
  const dz = positions[3 * j + 2] - positions[3 * i + 2];
  const length = Math.hypot(dx, dy, dz);
  if (!(length > 0)) return false;
  const ux = normals[3 * i];
  const uy = normals[3 * i + 1];
  const uz = normals[3 * i + 2];
  const tx = normals[3 * j];
  const ty = normals[3 * j + 1];
  const tz = normals[3 * j + 2];
  const phi = (ux * dx + uy * dy + uz * dz) / length;
  let vx = dy * uz - dz * uy;
  let vy = dz * ux - dx * uz;
  let vz = dx * uy - dy * ux;
  const vLength = Math.hypot(vx, vy, vz);
  if (!(vLength > 0)) return false;
  vx /= vLength;
  vy /= vLength;
  vz /= vLength;
  const wx = uy * vz - uz * vy;
  const wy = uz * vx - ux * vz;
  const wz = ux * vy - uy * vx;
  const alpha = vx * tx + vy * ty + vz * tz;
  const theta = Math.atan2(wx * tx + wy * ty + wz * tz, ux * tx + uy * ty + uz * tz);
  spread(out, at, (alpha + 1) / 2, false);
  spread(out, at + BINS, (phi + 1) / 2, false);
  spread(out, at + 2 * BINS, (theta + Math.PI) / (2 * Math.PI), true);
  return true;
}

/** Shares one count between the two nearest bins, so that rounding cannot make it jump. */
function spread(out: Float32Array, at: number, value: number, cyclic: boolean): void {
  const place = Math.min(1, Math.max(0, value)) * BINS - 0.5;
  const low = Math.floor(place);
  const high = low + 1;
  const share = place - low;
  const a = low < 0 ? (cyclic ? BINS - 1 : 0) : low;
  const b = high >= BINS ? (cyclic ? 0 : BINS - 1) : high;
  out[at + a] += 1 - share;
  out[at + b] += share;
}

function normalizeThirds(features: Float32Array, at: number): void {
  for (let third = 0; third < 3; third++) {
    let sum = 0;
    for (let b = 0; b < BINS; b++) sum += features[at + third * BINS + b];
    if (!(sum > 0)) continue;
    for (let b = 0; b < BINS; b++) features[at + third * BINS + b] = Math.sqrt(features[at + third * BINS + b] / sum);
  }
}
