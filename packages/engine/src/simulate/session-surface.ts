import type { RunContext } from '../base/index.ts';
import { makeCorrelatedField } from './correlated-field.ts';
import { type ModelSolid, solidColor } from './model-solid.ts';
import type { SimulatedScene } from './scene.ts';
import type { ReachTest, SolidMesh } from './solids/solid-mesh.ts';
import type { Station } from './station.ts';
import { drawSurfaceNoise, type SurfaceNoise } from './surface-noise.ts';
import { measurePlaces } from './visibility.ts';

/** How an instrument that delivers one mesh of a whole session captures. Lengths mm, angles rad. */
export interface SurfaceCapture {
  readonly stations: readonly Station[];
  readonly incidenceLimit: number;
  /** Along the surface normal, at up to `referenceRange`; beyond, it grows in proportion to the range. */
  readonly noise: SurfaceNoise;
  readonly referenceRange: number;
  /** White noise of points at the border of the mesh, as a multiple: edges of real meshes are frayed. */
  readonly borderFactor: number;
  readonly spacing: number;
  readonly chord: number;
  /** Triangles that a connected piece of the mesh has at least; smaller crumbs are left out. */
  readonly leastPiece: number;
  readonly colors: boolean;
}

/** One mesh of a whole session, in the model's coordinates, mm. */
export interface SessionSurface {
  /** Measured places. */
  readonly positions: Float64Array;
  /** Where these places truly are: on the scene's triangles. */
  readonly truePositions: Float64Array;
  /** Outward unit normals of the true surface there. */
  readonly normals: Float64Array;
  readonly triangles: Uint32Array;
  readonly colors: Uint8Array | null;
  /** Number of the solid each vertex lies on. */
  readonly solids: Uint16Array;
}

/** More than any chord used, less than any wall or gap. */
const SIGHT_TOLERANCE = 0.6;

/** Whether some station comes near enough to a box, on the side to which its faces look. */
function reachOf(stations: readonly Station[]): ReachTest {
  return (low, high, direction) => {
    const lowest = direction.reduce((sum, d, axis) => sum + Math.min(d * low[axis], d * high[axis]), 0);
    return stations.some(({ position: p, farRange }) => {
      const gap = Math.hypot(...[0, 1, 2].map((axis) => Math.max(low[axis] - p[axis], 0, p[axis] - high[axis])));
      return gap <= farRange && p[0] * direction[0] + p[1] * direction[1] + p[2] * direction[2] > lowest;
    });
  };
}

/** Area-weighted normals of a solid's vertices. */
function vertexNormals(mesh: SolidMesh): Float64Array {
  const { positions: p, triangles: t } = mesh;
  const normals = new Float64Array(p.length);
  for (let k = 0; k < t.length; k += 3) {
    const a = 3 * t[k];
    const b = 3 * t[k + 1];
    const c = 3 * t[k + 2];
    const ux = p[b] - p[a];
    const uy = p[b + 1] - p[a + 1];
    const uz = p[b + 2] - p[a + 2];
    const vx = p[c] - p[a];
    const vy = p[c + 1] - p[a + 1];
    const vz = p[c + 2] - p[a + 2];
    const nx = uy * vz - uz * vy;
    const ny = uz * vx - ux * vz;
    const nz = ux * vy - uy * vx;
    for (let e = 0; e < 3; e++) {
      const v = 3 * t[k + e];
      normals[v] += nx;
      normals[v + 1] += ny;
      normals[v + 2] += nz;
    }
  }
  for (let i = 0; i < normals.length; i += 3) {
    const length = Math.hypot(normals[i], normals[i + 1], normals[i + 2]) || 1;
    for (let axis = 0; axis < 3; axis++) normals[i + axis] /= length;
  }
  return normals;
}

/** Drops places in patches until about the wanted share of them is gone. */
function dropPatches(places: Float64Array, share: number, name: string, context: RunContext): Uint8Array {
  const field = new Float64Array(places.length / 3);
  makeCorrelatedField({ sigma: 1, length: 25 }, context.random(name)).addTo(places, field);
  // Logistic approximation of the normal distribution function, good to 0.01.
  return Uint8Array.from(field, (value) => (1 / (1 + Math.exp(-1.702 * value)) > 1 - share ? 1 : 0));
}

/** Keeps triangles of pieces with at least `least` triangles. */
function dropCrumbs(triangles: Uint32Array, vertexCount: number, least: number): Uint32Array {
  const parent = Int32Array.from({ length: vertexCount }, (_, i) => i);
  const root = (i: number): number => {
    let r = i;
    while (parent[r] !== r) {
      parent[r] = parent[parent[r]];
      r = parent[r];
    }
    return r;
  };
  for (let k = 0; k < triangles.length; k += 3) {
    parent[root(triangles[k])] = root(triangles[k + 1]);
    parent[root(triangles[k + 1])] = root(triangles[k + 2]);
  }
  const sizes = new Int32Array(vertexCount);
  for (let k = 0; k < triangles.length; k += 3) sizes[root(triangles[k])]++;
  const kept = new Uint32Array(triangles.length);
  let at = 0;
  for (let k = 0; k < triangles.length; k += 3) {
    if (sizes[root(triangles[k])] < least) continue;
    for (let e = 0; e < 3; e++) kept[at++] = triangles[k + e];
  }
  return kept.slice(0, at);
}

/**
 * 1 for vertices whose triangles do not go all the way round. Around a closed fan every neighbour follows once and goes
 * before once, so the sum of their numbers, one way minus the other, is zero; around an open fan it is not.
 */
function borderVertices(triangles: Uint32Array, vertexCount: number): Uint8Array {
  const sums = new Float64Array(vertexCount);
  for (let k = 0; k < triangles.length; k += 3) {
    const [a, b, c] = [triangles[k], triangles[k + 1], triangles[k + 2]];
    sums[a] += b - c;
    sums[b] += c - a;
    sums[c] += a - b;
  }
  return Uint8Array.from(sums, (sum) => (sum === 0 ? 0 : 1));
}

/** What one solid gives to a session, before noise. */
interface SolidShare {
  readonly positions: Float64Array;
  readonly normals: Float64Array;
  readonly ranges: Float64Array;
  readonly triangles: Uint32Array;
}

async function captureSolid(
  scene: SimulatedScene,
  solid: ModelSolid,
  capture: SurfaceCapture,
  name: string,
  context: RunContext,
): Promise<SolidShare | null> {
  const jitter = context.random(`${name}/jitter`);
  const reached = reachOf(capture.stations);
  const mesh = solid.shape({ spacing: capture.spacing, chord: capture.chord, jitter, reached });
  const normals = vertexNormals(mesh);
  const options = { incidenceLimit: capture.incidenceLimit, tolerance: SIGHT_TOLERANCE, tries: 4 };
  const seen = await measurePlaces(scene, mesh.positions, normals, capture.stations, options, context);
  const { dropout } = solid.material;
  if (dropout > 0) {
    const gone = dropPatches(mesh.positions, dropout, `${name}/dropout`, context);
    for (let i = 0; i < gone.length; i++) if (gone[i]) seen.station[i] = -1;
  }
  const count = seen.station.length;
  const measured = new Uint32Array(mesh.triangles.length);
  let at = 0;
  for (let k = 0; k < mesh.triangles.length; k += 3) {
    const [a, b, c] = [mesh.triangles[k], mesh.triangles[k + 1], mesh.triangles[k + 2]];
    if (seen.station[a] < 0 || seen.station[b] < 0 || seen.station[c] < 0) continue;
    measured[at++] = a;
    measured[at++] = b;
    measured[at++] = c;
  }
  const kept = dropCrumbs(measured.subarray(0, at), count, capture.leastPiece);
  if (kept.length === 0) return null;
  const newIndex = new Int32Array(count).fill(-1);
  for (const v of kept) newIndex[v] = 0;
  let usedCount = 0;
  for (let v = 0; v < count; v++) if (newIndex[v] === 0) newIndex[v] = usedCount++;
  const pick = (values: Float64Array, width: number): Float64Array => {
    const out = new Float64Array(width * usedCount);
    for (let v = 0; v < count; v++) {
      if (newIndex[v] < 0) continue;
      for (let k = 0; k < width; k++) out[width * newIndex[v] + k] = values[width * v + k];
    }
    return out;
  };
  return {
    positions: pick(seen.positions, 3),
    normals: pick(normals, 3),
    ranges: pick(seen.ranges, 1),
    triangles: Uint32Array.from(kept, (v) => newIndex[v]),
  };
}

/** Puts arrays one after the other. */
function joinFloat64(parts: readonly Float64Array[]): Float64Array {
  const out = new Float64Array(parts.reduce((sum, p) => sum + p.length, 0));
  let at = 0;
  for (const p of parts) {
    out.set(p, at);
    at += p.length;
  }
  return out;
}

/**
 * Captures one mesh of everything that a session's stations saw of a model.
 *
 * Frames   result in the model's coordinates.
 * Units    mm, rad. Noise along the surface normal.
 * Method   each solid is cut anew for this session, with its vertices moved along the surface, so that no two sessions
 *          share points; every vertex is measured by a ray from the best station that sees it; triangles whose three
 *          vertices were measured form the mesh. So holes are where nothing was seen, thin walls stay two skins, and
 *          sharp edges are where they are.
 * Limits   where two solids meet, up to one spacing is missing along the joint, as in a crease an instrument does not reach.
 * Repeats  bit for bit for the same seed and name.
 *
 * @param scene the model's scene, cut finely
 * @throws RangeError when nothing was seen
 */
export async function captureSessionSurface(
  scene: SimulatedScene,
  solids: readonly ModelSolid[],
  capture: SurfaceCapture,
  name: string,
  context: RunContext,
): Promise<SessionSurface> {
  const shares: { share: SolidShare; solid: number }[] = [];
  for (let k = 0; k < solids.length; k++) {
    if (!solids[k].material.measurable) continue;
    const part = context.part((0.8 * k) / solids.length, (0.8 * (k + 1)) / solids.length);
    const share = await captureSolid(scene, solids[k], capture, `${name}/solid-${k}`, part);
    if (share) shares.push({ share, solid: k });
  }
  if (shares.length === 0) throw new RangeError('The session saw nothing.');
  const truePositions = joinFloat64(shares.map((s) => s.share.positions));
  const normals = joinFloat64(shares.map((s) => s.share.normals));
  const ranges = joinFloat64(shares.map((s) => s.share.ranges));
  const count = ranges.length;
  const triangles = new Uint32Array(shares.reduce((sum, s) => sum + s.share.triangles.length, 0));
  const ofSolid = new Uint16Array(count);
  let vertex = 0;
  let at = 0;
  for (const { share, solid } of shares) {
    for (const v of share.triangles) triangles[at++] = v + vertex;
    ofSolid.fill(solid, vertex, vertex + share.ranges.length);
    vertex += share.ranges.length;
  }
  await context.checkpoint(0.85);
  const deviations = drawSurfaceNoise(capture.noise, truePositions, name, context);
  await context.checkpoint(0.95);
  const frayed = context.random(`${name}/border`);
  const extra = capture.noise.white * Math.sqrt(Math.max(capture.borderFactor ** 2 - 1, 0));
  const border = borderVertices(triangles, count);
  const positions = truePositions.slice();
  for (let i = 0; i < count; i++) {
    let deviation = deviations[i] * Math.max(1, ranges[i] / capture.referenceRange);
    if (border[i]) deviation += extra * frayed.normal();
    for (let axis = 0; axis < 3; axis++) positions[3 * i + axis] += deviation * normals[3 * i + axis];
  }
  const colors = capture.colors ? new Uint8Array(3 * count) : null;
  if (colors) {
    const shade = context.random(`${name}/color`);
    for (let i = 0; i < count; i++) {
      const solid = solids[ofSolid[i]];
      const rgb = solidColor(solid, truePositions[3 * i], truePositions[3 * i + 1], truePositions[3 * i + 2]);
      const grain = 5 * shade.normal();
      for (let k = 0; k < 3; k++) colors[3 * i + k] = Math.max(0, Math.min(255, Math.round(rgb[k] + grain)));
    }
  }
  await context.checkpoint(1);
  return { positions, truePositions, normals, triangles, colors, solids: ofSolid };
}
