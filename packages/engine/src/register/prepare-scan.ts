import type { RunContext } from '../base/index.ts';
import type { Vec3 } from '../math/index.ts';
import type { ScanData, Viewpoint } from '../model/index.ts';
import { orderCanonically } from './canonical-order.ts';
import { type MeshConnectivity, readMeshConnectivity } from './mesh-connectivity.ts';
import { fitNeighbourhoodNormals } from './neighbourhood-normals.ts';
import { estimateNoise } from './noise-of-neighbours.ts';
import { orientByViewpoint, propagateOrientation, shareTowardsViewpoint } from './orient-normals.ts';
import type { NormalOrientation, PreparedScan } from './prepared-scan.ts';
import { medianInPlace } from './robust-scale.ts';
import { scanPointIndex } from './scan-point-index.ts';

/** How a scan is prepared. */
export interface PrepareScanOptions {
  /** Neighbours of the plane that gives a normal; 0 chooses from the noise (16 to 64). */
  readonly neighbourCount: number;
  /** Name used in findings. */
  readonly subject: string;
}

/** 0: a neighbourhood as small as the noise allows keeps small shapes. */
export const PREPARE_SCAN_DEFAULTS: PrepareScanOptions = { neighbourCount: 0, subject: 'scan' };

/** Share of edges with contradicting triangles above which a winding is not trusted. */
const CONTRADICTION_LIMIT = 0.02;

/**
 * Makes a scan ready for registration: canonical order, normals, borders, spacing, noise.
 *
 * Frames   stays in the scan's frame.
 * Method   exact duplicates are merged. Normals from the triangles' winding where it is consistent, else from the file,
 *          else by principal components, signed by the viewpoint, else by propagation (see `propagateOrientation`). Where
 *          the noise is large against the spacing, winding normals only give the sign and the planes of more neighbours
 *          the direction. Borders from edges with one triangle, in clouds from one-sided neighbourhoods.
 * Assumes  a cloud or mesh of one instrument; any number of points, also none.
 * Repeats  bit for bit, whatever the order of points and triangles.
 *
 * @param scan in mm; not changed
 */
export async function prepareScan(
  scan: ScanData,
  options: Partial<PrepareScanOptions>,
  context: RunContext,
): Promise<PreparedScan> {
  const { neighbourCount, subject } = { ...PREPARE_SCAN_DEFAULTS, ...options };
  await context.checkpoint(0, 'sorting points');
  let points = orderCanonically(scan.origin, scan.positions, scan.normals);
  let mesh: MeshConnectivity | null = null;
  if (scan.triangles !== null && scan.triangles.length > 0) {
    mesh = readMeshConnectivity(points.positions, scan.triangles, points.placeOfInput);
    const unusedCount = mesh.unused.reduce((sum, value) => sum + value, 0);
    if (unusedCount * 2 > mesh.unused.length) {
      mesh = null;
    } else if (unusedCount > 0) {
      // Points of no triangle are the instrument's own doubtful ones; the mesh left them out, so does registration.
      ({ points, mesh } = withoutUnused(points, mesh, scan, unusedCount));
    }
  }
  const { positions } = points;
  const pointCount = positions.length / 3;
  const viewpoint = relativeViewpoint(scan.viewpoint, points.origin);
  const index = scanPointIndex({ positions });
  await context.checkpoint(0.1, 'estimating noise');
  const noise = estimateNoise(positions, index);

  let orientation: NormalOrientation = 'none';
  let prior: Float32Array | null = null;
  if (mesh !== null && mesh.inconsistentShare <= CONTRADICTION_LIMIT) {
    prior = unitVectors(mesh.normalSums);
    orientation = 'winding';
  } else {
    if (mesh !== null) {
      context.findings.add({
        severity: 'note',
        code: 'register/winding-contradicts',
        subject,
        message: `${(100 * mesh.inconsistentShare).toFixed(1)} % of the edges have triangles of opposite winding; the winding was not used for normals.`,
        remedy: 'Orient the triangles of the mesh equally.',
      });
    }
    if (points.normals !== null && shareKnown(points.normals) > 0.9) {
      prior = unitVectors(points.normals);
      orientation = 'given';
    }
  }
  const roughSpacing = sampledSpacing(positions, index.kNearest.bind(index));
  const k =
    neighbourCount > 0
      ? neighbourCount
      : Math.max(16, Math.min(64, Math.ceil(roughSpacing > 0 ? (71 * noise) / roughSpacing : 16)));
  const needsSigns = prior === null && viewpoint === null;
  await context.checkpoint(0.2, 'estimating normals');
  const fitted = await fitNeighbourhoodNormals(positions, k, prior, needsSigns, index, context.part(0.2, 0.8));
  const spacing = medianInPlace(fitted.nearest, pointCount);
  let normals = fitted.normals;
  if (prior !== null && orientation === 'given') normals = keepKnown(prior, fitted.normals);
  if (prior !== null && orientation === 'winding' && noise < 0.1 * spacing) normals = keepKnown(prior, fitted.normals);
  if (prior !== null && viewpoint !== null && shareTowardsViewpoint(positions, normals, viewpoint) < 0.1) {
    // The instrument saw these faces, so they are inside out.
    normals = normals.map((value) => 0 - value);
    context.findings.add({
      severity: 'note',
      code: 'register/normals-inside-out',
      subject,
      message: 'Nearly all normals point away from the instrument; they were reversed.',
      remedy: 'Check the winding of the triangles or the stated viewpoint.',
    });
  }
  if (prior === null && pointCount > 0) {
    if (viewpoint !== null) {
      orientByViewpoint(positions, normals, viewpoint);
      orientation = 'viewpoint';
    } else {
      await propagateOrientation(positions, normals, fitted.neighbours, index, context.part(0.8, 1));
      orientation = 'propagated';
    }
  }
  const { centroid, radius } = centroidAndRadius(positions);
  await context.checkpoint(1);
  return {
    origin: points.origin,
    positions,
    normals,
    oriented: orientation === 'winding' || orientation === 'given' || orientation === 'viewpoint',
    orientation,
    border: mesh !== null ? mesh.border : fitted.oneSided,
    viewpoint: scan.viewpoint,
    spacing: Number.isFinite(spacing) ? spacing : 0,
    noise,
    radius,
    centroid,
  };
}

function withoutUnused(
  points: ReturnType<typeof orderCanonically>,
  mesh: MeshConnectivity,
  scan: ScanData,
  unusedCount: number,
): { points: ReturnType<typeof orderCanonically>; mesh: MeshConnectivity } {
  const oldCount = mesh.unused.length;
  const newPlace = new Int32Array(oldCount).fill(-1);
  const positions = new Float32Array(3 * (oldCount - unusedCount));
  const normals = points.normals === null ? null : new Float32Array(positions.length);
  let count = 0;
  for (let i = 0; i < oldCount; i++) {
    if (mesh.unused[i] === 1) continue;
    positions.set(points.positions.subarray(3 * i, 3 * i + 3), 3 * count);
    if (normals !== null && points.normals !== null) normals.set(points.normals.subarray(3 * i, 3 * i + 3), 3 * count);
    newPlace[i] = count++;
  }
  const placeOfInput = points.placeOfInput.map((place) => (place < 0 ? -1 : newPlace[place]));
  return {
    points: { ...points, positions, normals, placeOfInput },
    mesh: readMeshConnectivity(positions, scan.triangles ?? new Uint32Array(), placeOfInput),
  };
}

function relativeViewpoint(viewpoint: Viewpoint | null, origin: Vec3): Viewpoint | null {
  if (viewpoint === null || viewpoint.kind === 'direction') return viewpoint;
  const p = viewpoint.position;
  return { kind: 'position', position: [p[0] - origin[0], p[1] - origin[1], p[2] - origin[2]] };
}

/** Unit vectors; zero where the length is zero. */
function unitVectors(vectors: ArrayLike<number>): Float32Array {
  const out = new Float32Array(vectors.length);
  for (let i = 0; i < vectors.length; i += 3) {
    const x = vectors[i] as number;
    const y = vectors[i + 1] as number;
    const z = vectors[i + 2] as number;
    const length = Math.sqrt(x * x + y * y + z * z);
    if (!(length > 0)) continue;
    out[i] = x / length;
    out[i + 1] = y / length;
    out[i + 2] = z / length;
  }
  return out;
}

function shareKnown(vectors: Float32Array): number {
  let known = 0;
  for (let i = 0; i < vectors.length; i += 3) {
    if (vectors[i] !== 0 || vectors[i + 1] !== 0 || vectors[i + 2] !== 0) known++;
  }
  return vectors.length > 0 ? known / (vectors.length / 3) : 0;
}

function keepKnown(known: Float32Array, otherwise: Float32Array): Float32Array {
  const out = known.slice();
  for (let i = 0; i < out.length; i += 3) {
    if (out[i] === 0 && out[i + 1] === 0 && out[i + 2] === 0) out.set(otherwise.subarray(i, i + 3), i);
  }
  return out;
}

function sampledSpacing(
  positions: Float32Array,
  kNearest: (queries: Float32Array, k: number, index: Int32Array, squared: Float32Array) => void,
): number {
  const pointCount = positions.length / 3;
  if (pointCount < 2) return 0;
  const count = Math.min(2000, pointCount);
  const queries = new Float32Array(3 * count);
  for (let s = 0; s < count; s++) {
    const i = Math.floor(((s + 0.5) * pointCount) / count);
    queries.set(positions.subarray(3 * i, 3 * i + 3), 3 * s);
  }
  const found = new Int32Array(2 * count);
  const squared = new Float32Array(2 * count);
  kNearest(queries, 2, found, squared);
  const distances = Float32Array.from({ length: count }, (_, s) => Math.sqrt(squared[2 * s + 1]));
  return medianInPlace(distances, count);
}

function centroidAndRadius(positions: Float32Array): { centroid: Vec3; radius: number } {
  const n = positions.length / 3;
  if (n === 0) return { centroid: [0, 0, 0], radius: 0 };
  let x = 0;
  let y = 0;
  let z = 0;
  for (let i = 0; i < positions.length; i += 3) {
    x += positions[i];
    y += positions[i + 1];
    z += positions[i + 2];
  }
  const centroid: Vec3 = [x / n, y / n, z / n];
  let squares = 0;
  for (let i = 0; i < positions.length; i += 3) {
    squares +=
      (positions[i] - centroid[0]) ** 2 + (positions[i + 1] - centroid[1]) ** 2 + (positions[i + 2] - centroid[2]) ** 2;
  }
  return { centroid, radius: Math.sqrt(squares / n) };
}
