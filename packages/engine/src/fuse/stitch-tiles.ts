import type { Finding } from '../base/index.ts';
import { buildMeshTopology, splitNonManifold } from '../geometry/index.ts';
import { closePinholes } from './close-pinholes.ts';
import { collapseTips } from './collapse-tips.ts';
import type { FusedSurface } from './fused-surface.ts';
import type { FusionPlan } from './fusion-plan.ts';
import { removeSpecks } from './remove-specks.ts';
import { orderOfKeys } from './sort-keys.ts';
import { pickVertices, type SurfaceArrays } from './surface-arrays.ts';
import type { TileResult } from './tile-result.ts';

/**
 * Joins the pieces of all tiles into one surface, removes specks, and makes sure that it is manifold.
 *
 * Repeats  vertices and triangles stand in the order of the grid, so the result is the same, bit for bit, for any order and
 *          any size of the tiles.
 *
 * @param findings what the plan and the sampling had to say; carried into the surface
 */
export function stitchTiles(
  plan: FusionPlan,
  results: readonly TileResult[],
  findings: readonly Finding[] = [],
): FusedSurface {
  const notes: Finding[] = [...plan.findings, ...findings];
  const joined = joinVertices(results);
  const quads = joinQuads(results, joined);
  const triangles = collapseTips(splitQuads(quads, joined.arrays.positions), joined.arrays.positions, plan.resolution);
  let surface = removeSpecks({ ...joined.arrays, triangles }, plan, notes);
  surface = splitPinched(surface, notes);
  surface = closePinholes(surface, plan, notes);
  noteDisagreement(results, notes);
  return {
    origin: plan.origin,
    positions: Float32Array.from(surface.positions),
    normals: surface.normals,
    colors: surface.colors,
    colored: surface.colored,
    triangles: surface.triangles,
    scanIds: plan.scanIds,
    sourceOffsets: surface.sourceOffsets,
    sourceScans: surface.sourceScans,
    sourceShares: surface.sourceShares,
    dominantSource: dominantSources(surface),
    sigmaNoise: surface.sigmaNoise,
    sigmaAlignment: surface.sigmaAlignment,
    disagreement: surface.disagreement,
    resolution: plan.resolution,
    findings: notes,
  };
}

/** Share of the places with several sources from which on it is said that they do not agree. */
const APART_SHARE = 0.01;

/** Says so when scans lie further apart than their noise and placement allow: the surface is then an average of strangers. */
function noteDisagreement(results: readonly TileResult[], notes: Finding[]): void {
  let several = 0;
  let apart = 0;
  let largest = 0;
  for (const result of results) {
    several += result.severalCount;
    apart += result.apartCount;
    largest = Math.max(largest, result.largestApart);
  }
  if (apart <= APART_SHARE * several) return;
  notes.push({
    severity: 'warning',
    code: 'fuse/sources-disagree',
    subject: 'fused',
    message: `At ${((100 * apart) / several).toPrecision(2)} % of the places that several scans show, they lie further apart than their stated uncertainties allow, by up to ${largest.toPrecision(3)} mm; the surface runs between them.`,
    remedy: 'Check the alignment there, the stated noise of the instruments, and whether a part has moved.',
  });
}

function splitPinched(surface: SurfaceArrays, notes: Finding[]): SurfaceArrays {
  const topology = buildMeshTopology(surface.triangles, surface.sigmaNoise.length);
  const split = splitNonManifold(surface.triangles, surface.sigmaNoise.length, topology);
  if (split.splitCount === 0) return surface;
  notes.push({
    severity: 'note',
    code: 'fuse/split-vertices',
    subject: 'fused',
    message: `${split.splitCount} vertices where sheets touch were split, so that every edge has at most two triangles.`,
    remedy: 'Nothing to do.',
  });
  return { ...pickVertices(surface, split.sourceVertex), triangles: split.triangles };
}

interface JoinedVertices {
  readonly arrays: Omit<SurfaceArrays, 'triangles'>;
  /** First vertex of each result before sorting, and the place of each vertex after it. */
  readonly starts: number[];
  readonly places: Uint32Array;
  readonly keys: Float64Array;
}

function joinVertices(results: readonly TileResult[]): JoinedVertices {
  const starts: number[] = [];
  let count = 0;
  let sourceCount = 0;
  for (const result of results) {
    starts.push(count);
    count += result.keys.length;
    sourceCount += result.sourceScans.length;
  }
  const keys = new Float64Array(count);
  const all = {
    positions: new Float64Array(3 * count),
    normals: new Float32Array(3 * count),
    colors: results.some((result) => result.colors) ? new Uint8Array(3 * count) : null,
    colored: results.some((result) => result.colored) ? new Uint8Array(count) : null,
    sourceOffsets: new Uint32Array(count + 1),
    sourceScans: new Uint16Array(sourceCount),
    sourceShares: new Uint8Array(sourceCount),
    sigmaNoise: new Float32Array(count),
    sigmaAlignment: new Float32Array(count),
    disagreement: new Float32Array(count),
  };
  let sourceStart = 0;
  results.forEach((result, n) => {
    const at = starts[n];
    keys.set(result.keys, at);
    all.positions.set(result.positions, 3 * at);
    all.normals.set(result.normals, 3 * at);
    if (result.colors) all.colors?.set(result.colors, 3 * at);
    if (result.colored) all.colored?.set(result.colored, at);
    for (let i = 0; i < result.keys.length; i++) all.sourceOffsets[at + i] = sourceStart + result.sourceOffsets[i];
    all.sourceScans.set(result.sourceScans, sourceStart);
    all.sourceShares.set(result.sourceShares, sourceStart);
    all.sigmaNoise.set(result.sigmaNoise, at);
    all.sigmaAlignment.set(result.sigmaAlignment, at);
    all.disagreement.set(result.disagreement, at);
    sourceStart += result.sourceScans.length;
  });
  all.sourceOffsets[count] = sourceStart;
  const order = orderOfKeys(keys);
  const places = new Uint32Array(count);
  const sortedKeys = new Float64Array(count);
  for (let n = 0; n < count; n++) {
    places[order[n]] = n;
    sortedKeys[n] = keys[order[n]];
  }
  return { arrays: pickVertices(all, order), starts, places, keys: sortedKeys };
}

/** Corners of all quadrangles as final vertex numbers, in the order of the grid. */
function joinQuads(results: readonly TileResult[], joined: JoinedVertices): Uint32Array {
  const count = results.reduce((sum, result) => sum + result.quadKeys.length, 0);
  const quads = new Uint32Array(4 * count);
  const keys = new Float64Array(count);
  let at = 0;
  results.forEach((result, n) => {
    const foreign = Uint32Array.from(result.foreignKeys, (key) => findKey(joined.keys, key));
    for (let q = 0; q < result.quadKeys.length; q++, at++) {
      keys[at] = result.quadKeys[q];
      for (let k = 0; k < 4; k++) {
        const name = result.quads[4 * q + k];
        quads[4 * at + k] = name >= 0 ? joined.places[joined.starts[n] + name] : foreign[-1 - name];
      }
    }
  });
  const order = orderOfKeys(keys);
  const sorted = new Uint32Array(4 * count);
  for (let q = 0; q < count; q++) for (let k = 0; k < 4; k++) sorted[4 * q + k] = quads[4 * order[q] + k];
  return sorted;
}

function findKey(keys: Float64Array, key: number): number {
  let low = 0;
  let high = keys.length - 1;
  while (low < high) {
    const middle = (low + high) >> 1;
    if (keys[middle] < key) low = middle + 1;
    else high = middle;
  }
  return low;
}

/** Two triangles a quadrangle, split along the shorter diagonal: the one that gives the better angles. */
function splitQuads(quads: Uint32Array, positions: Float64Array): Uint32Array {
  const triangles = new Uint32Array((quads.length / 4) * 6);
  const square = (a: number, b: number): number =>
    (positions[3 * a] - positions[3 * b]) ** 2 +
    (positions[3 * a + 1] - positions[3 * b + 1]) ** 2 +
    (positions[3 * a + 2] - positions[3 * b + 2]) ** 2;
  for (let q = 0; 4 * q < quads.length; q++) {
    const a = quads[4 * q];
    const b = quads[4 * q + 1];
    const c = quads[4 * q + 2];
    const d = quads[4 * q + 3];
    const isAC = square(a, c) <= square(b, d);
    triangles[6 * q] = a;
    triangles[6 * q + 1] = b;
    triangles[6 * q + 2] = isAC ? c : d;
    triangles[6 * q + 3] = isAC ? a : b;
    triangles[6 * q + 4] = c;
    triangles[6 * q + 5] = d;
  }
  return triangles;
}

function dominantSources(surface: SurfaceArrays): Uint16Array {
  const count = surface.sigmaNoise.length;
  const dominant = new Uint16Array(count);
  for (let i = 0; i < count; i++) dominant[i] = surface.sourceScans[surface.sourceOffsets[i]];
  return dominant;
}
