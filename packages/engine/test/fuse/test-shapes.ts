import { makeRandom, makeRunContext } from '../../src/base/index.ts';
import { type FusedSurface, type FusionOptions, fuseScans, type PosedScan } from '../../src/fuse/index.ts';
import { IDENTITY_POSE, type Pose, type Vec3 } from '../../src/math/index.ts';
import type { ScanData } from '../../src/model/index.ts';

/** A scan of a surface given by a function of two parameters, sampled on a grid. */
export interface GridShape {
  readonly place: (u: number, v: number) => Vec3;
  readonly columns: number;
  readonly rows: number;
  /** Joins the last column to the first. */
  readonly isClosed?: boolean;
  readonly isFlipped?: boolean;
  readonly color?: Vec3;
  readonly keep?: (u: number, v: number) => boolean;
}

/** u and v run from 0 to 1; normals are du x dv, or the other way when flipped. */
export function gridScan(shape: GridShape): ScanData {
  const { columns, rows } = shape;
  const positions: number[] = [];
  for (let j = 0; j <= rows; j++) {
    for (let i = 0; i < columns + (shape.isClosed ? 0 : 1); i++) positions.push(...shape.place(i / columns, j / rows));
  }
  const width = columns + (shape.isClosed ? 0 : 1);
  const triangles: number[] = [];
  for (let j = 0; j < rows; j++) {
    for (let i = 0; i < columns; i++) {
      if (shape.keep && !shape.keep((i + 0.5) / columns, (j + 0.5) / rows)) continue;
      const a = j * width + i;
      const b = j * width + ((i + 1) % width);
      const c = (j + 1) * width + ((i + 1) % width);
      const d = (j + 1) * width + i;
      const corners = (i + j) % 2 === 0 ? [a, b, c, a, c, d] : [a, b, d, b, c, d];
      for (let t = 0; t < 6; t += 3) {
        const [p, q, r] = corners.slice(t, t + 3) as [number, number, number];
        triangles.push(...(shape.isFlipped ? [p, r, q] : [p, q, r]));
      }
    }
  }
  const count = positions.length / 3;
  const colors = shape.color ? new Uint8Array(3 * count) : null;
  if (colors && shape.color) for (let i = 0; i < count; i++) colors.set(shape.color, 3 * i);
  return {
    origin: [0, 0, 0],
    positions: Float32Array.from(positions),
    normals: null,
    colors,
    triangles: Uint32Array.from(triangles),
    viewpoint: null,
  };
}

/** A flat square patch across z at a height, facing +z. */
export function flatScan(size: number, height: number, spacing: number, more: Partial<GridShape> = {}): ScanData {
  const cells = Math.round(size / spacing);
  return gridScan({
    place: (u, v) => [(u - 0.5) * size, (v - 0.5) * size, height],
    columns: cells,
    rows: cells,
    ...more,
  });
}

/** White noise of the given standard deviation on every coordinate. */
export function withNoise(scan: ScanData, sigma: number, name: string): ScanData {
  const random = makeRandom(7, name);
  return { ...scan, positions: scan.positions.map((value) => value + sigma * random.normal()) };
}

/** Sphere from stacked rings, poles closed by small caps of the rings' points. */
export function sphereScan(radius: number, rings: number, center: Vec3 = [0, 0, 0]): ScanData {
  const positions: number[] = [center[0], center[1], center[2] + radius];
  const columns = 2 * rings;
  for (let j = 1; j < rings; j++) {
    const polar = (Math.PI * j) / rings;
    for (let i = 0; i < columns; i++) {
      const angle = (2 * Math.PI * (i + (j % 2) / 2)) / columns;
      positions.push(
        center[0] + radius * Math.sin(polar) * Math.cos(angle),
        center[1] + radius * Math.sin(polar) * Math.sin(angle),
        center[2] + radius * Math.cos(polar),
      );
    }
  }
  positions.push(center[0], center[1], center[2] - radius);
  const last = positions.length / 3 - 1;
  const at = (j: number, i: number): number => 1 + (j - 1) * columns + (i % columns);
  const triangles: number[] = [];
  for (let i = 0; i < columns; i++) {
    triangles.push(0, at(1, i), at(1, i + 1), last, at(rings - 1, i + 1), at(rings - 1, i));
    for (let j = 1; j < rings - 1; j++) {
      const [a, b, c, d] = [at(j, i), at(j, i + 1), at(j + 1, i), at(j + 1, i + 1)];
      if (j % 2 === 1) triangles.push(a, c, b, b, c, d);
      else triangles.push(a, c, d, a, d, b);
    }
  }
  return {
    origin: [0, 0, 0],
    positions: Float32Array.from(positions),
    normals: null,
    colors: null,
    triangles: Uint32Array.from(triangles),
    viewpoint: null,
  };
}

/** A scan in its place. */
export function posed(id: string, scan: ScanData, noise: number, jobFromScan: Pose = IDENTITY_POSE): PosedScan {
  return { id, scan, jobFromScan, noise, viewpoint: null };
}

/** Fuses with a fresh context. */
export async function fuseNow(
  scans: readonly PosedScan[],
  options: Partial<FusionOptions> = {},
): Promise<FusedSurface> {
  return await fuseScans(scans, options, makeRunContext());
}

/** Coordinates of vertex i in the job frame. */
export function vertexAt(surface: FusedSurface, i: number): Vec3 {
  const p = surface.positions;
  const o = surface.origin;
  return [o[0] + p[3 * i], o[1] + p[3 * i + 1], o[2] + p[3 * i + 2]];
}

/** Every vertex's coordinates. */
export function allVertices(surface: FusedSurface): Vec3[] {
  return Array.from({ length: surface.positions.length / 3 }, (_, i) => vertexAt(surface, i));
}
