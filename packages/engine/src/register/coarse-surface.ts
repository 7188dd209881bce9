import { buildPointIndex } from '../geometry/index.ts';
import type { PreparedScan } from './prepared-scan.ts';

/**
 * A scan thinned to evenly spaced samples, each the mean of the points around it: what coarse registration looks at.
 *
 * Frames   as in the scan: relative to its `origin`, mm. Arrays are interleaved xyz, one entry a sample.
 */
export interface CoarseSurface {
  /** Distance below which no two samples lie, mm. */
  readonly spacing: number;
  readonly count: number;
  readonly positions: Float32Array;
  readonly normals: Float32Array;
  /** 1 where the neighbourhood is one-sided: the scan ends there. */
  readonly edge: Uint8Array;
  /** 1 where the surface turns by more than some 40 degrees within a spacing: at the edges of a body. */
  readonly sharp: Uint8Array;
  /** 1 where neither a border nor an edge of the body is near: what meets the surface here at an angle contradicts it. */
  readonly interior: Uint8Array;
  /** Which plane a sample lies in, numbered from 0: see `groupByPlane`. */
  readonly plane: Int32Array;
  readonly planeCount: number;
}

/** What thinning needs of a scan. */
type SurfacePoints = Pick<PreparedScan, 'positions' | 'normals' | 'border' | 'oriented' | 'centroid'>;

/** Points sorted into cubes of one size, for neighbours within that size. */
interface PointCells {
  readonly size: number;
  readonly min: readonly [number, number, number];
  readonly dims: readonly [number, number, number];
  /** Occupied cube number to its range in `order`. */
  readonly ranges: Map<number, readonly [number, number]>;
  readonly order: Int32Array;
}

function sortIntoCells(positions: Float32Array, size: number): PointCells {
  const count = positions.length / 3;
  const min: [number, number, number] = [Infinity, Infinity, Infinity];
  const max: [number, number, number] = [-Infinity, -Infinity, -Infinity];
  for (let i = 0; i < positions.length; i++) {
    const axis = i % 3;
    if (positions[i] < min[axis]) min[axis] = positions[i];
    if (positions[i] > max[axis]) max[axis] = positions[i];
  }
  const dims: [number, number, number] = [1, 1, 1];
  for (let axis = 0; axis < 3; axis++) dims[axis] = Math.floor((max[axis] - min[axis]) / size) + 1;
  const keys = new Float64Array(count);
  for (let i = 0; i < count; i++) {
    const x = Math.floor((positions[3 * i] - min[0]) / size);
    const y = Math.floor((positions[3 * i + 1] - min[1]) / size);
    const z = Math.floor((positions[3 * i + 2] - min[2]) / size);
    keys[i] = (z * dims[1] + y) * dims[0] + x;
  }
  const order = new Int32Array(count);
  for (let i = 0; i < count; i++) order[i] = i;
  order.sort((a, b) => keys[a] - keys[b] || a - b);
  const ranges = new Map<number, readonly [number, number]>();
  let start = 0;
  for (let i = 1; i <= count; i++) {
    if (i === count || keys[order[i]] !== keys[order[start]]) {
      ranges.set(keys[order[start]], [start, i]);
      start = i;
    }
  }
  return { size, min, dims, ranges, order };
}

/** Calls `visit(index, squared distance)` for every point within `radius`, which is at most the cube size. */
function visitNeighbours(
  cells: PointCells,
  positions: Float32Array,
  center: number,
  radius: number,
  visit: (index: number, distanceSquared: number) => void,
): void {
  const px = positions[3 * center];
  const py = positions[3 * center + 1];
  const pz = positions[3 * center + 2];
  const { min, dims, size } = cells;
  const cx = Math.floor((px - min[0]) / size);
  const cy = Math.floor((py - min[1]) / size);
  const cz = Math.floor((pz - min[2]) / size);
  for (let z = Math.max(0, cz - 1); z <= Math.min(dims[2] - 1, cz + 1); z++) {
    for (let y = Math.max(0, cy - 1); y <= Math.min(dims[1] - 1, cy + 1); y++) {
      for (let x = Math.max(0, cx - 1); x <= Math.min(dims[0] - 1, cx + 1); x++) {
        const range = cells.ranges.get((z * dims[1] + y) * dims[0] + x);
        if (range === undefined) continue;
        for (let k = range[0]; k < range[1]; k++) {
          const index = cells.order[k];
          const dx = positions[3 * index] - px;
          const dy = positions[3 * index + 1] - py;
          const dz = positions[3 * index + 2] - pz;
          const d2 = dx * dx + dy * dy + dz * dz;
          if (d2 <= radius * radius) visit(index, d2);
        }
      }
    }
  }
}

/** Points by their distance from the centroid: an order that no rotation of the scan changes. */
function orderFromCentroid(scan: SurfacePoints): Int32Array {
  const count = scan.positions.length / 3;
  const [cx, cy, cz] = scan.centroid;
  const key = new Float64Array(count);
  for (let i = 0; i < count; i++) {
    const dx = scan.positions[3 * i] - cx;
    const dy = scan.positions[3 * i + 1] - cy;
    const dz = scan.positions[3 * i + 2] - cz;
    key[i] = dx * dx + dy * dy + dz * dz;
  }
  const order = new Int32Array(count);
  for (let i = 0; i < count; i++) order[i] = i;
  return order.sort((a, b) => key[a] - key[b] || a - b);
}

/**
 * Thins a scan to samples at least `spacing` apart that leave no point farther than that from a sample.
 *
 * Method   Poisson-disk thinning in the order of the distance from the centroid, so that a rotated scan gives the same
 *          samples; each sample is moved to the mean of the points within 0.8 spacings, its normal to their mean normal.
 * Units    mm, frame of the scan.
 * Cost     a sort of the points and one neighbour search a sample.
 *
 * @param spacing mm, above zero
 */
export function sampleCoarseSurface(scan: SurfacePoints, spacing: number): CoarseSurface {
  const { positions, normals } = scan;
  const pointCount = positions.length / 3;
  const cells = sortIntoCells(positions, spacing);
  const covered = new Uint8Array(pointCount);
  const out: number[] = [];
  const outNormals: number[] = [];
  const edge: number[] = [];
  const sharp: number[] = [];
  const inner2 = (0.8 * spacing) ** 2;
  for (const center of orderFromCentroid(scan)) {
    if (covered[center] === 1) continue;
    let count = 0;
    let near = 0;
    let turned = 0;
    const sum = [0, 0, 0, 0, 0, 0];
    const nx0 = normals[3 * center];
    const ny0 = normals[3 * center + 1];
    const nz0 = normals[3 * center + 2];
    visitNeighbours(cells, positions, center, spacing, (index, d2) => {
      covered[index] = 1;
      const nx = normals[3 * index];
      const ny = normals[3 * index + 1];
      const nz = normals[3 * index + 2];
      const along = nx * nx0 + ny * ny0 + nz * nz0;
      near++;
      if ((scan.oriented ? along : Math.abs(along)) < 0.75) turned++;
      if (d2 > inner2) return;
      // The other skin of a thin sheet is another surface; with unoriented normals the sign says nothing.
      if (scan.oriented ? along < 0.3 : Math.abs(along) < 0.3) return;
      const sign = along < 0 ? -1 : 1;
      sum[0] += positions[3 * index];
      sum[1] += positions[3 * index + 1];
      sum[2] += positions[3 * index + 2];
      sum[3] += sign * nx;
      sum[4] += sign * ny;
      sum[5] += sign * nz;
      count++;
    });
    const length = Math.hypot(sum[3], sum[4], sum[5]);
    if (count === 0 || !(length > 0)) continue;
    const mx = sum[0] / count;
    const my = sum[1] / count;
    const mz = sum[2] / count;
    out.push(mx, my, mz);
    outNormals.push(sum[3] / length, sum[4] / length, sum[5] / length);
    // Where the scan ends, the mean of the neighbourhood lies well inside it.
    const off = Math.hypot(mx - positions[3 * center], my - positions[3 * center + 1], mz - positions[3 * center + 2]);
    sharp.push(turned > 0.1 * near ? 1 : 0);
    edge.push(count > 5 ? (off > 0.22 * spacing ? 1 : 0) : scan.border[center]);
  }
  return finishSurface(
    spacing,
    Float32Array.from(out),
    Float32Array.from(outNormals),
    Uint8Array.from(edge),
    Uint8Array.from(sharp),
  );
}

/** A surface of given samples, with their planes. */
export function finishSurface(
  spacing: number,
  positions: Float32Array,
  normals: Float32Array,
  edge: Uint8Array,
  sharp: Uint8Array,
): CoarseSurface {
  const interior = findInterior(positions, edge, sharp, spacing);
  const planes = groupByPlane(positions, normals, spacing);
  return { spacing, count: edge.length, positions, normals, edge, sharp, interior, ...planes };
}

/** Borders and edges reach this many spacings. */
const EDGE_REACH = 2.5;

function findInterior(positions: Float32Array, edge: Uint8Array, sharp: Uint8Array, spacing: number): Uint8Array {
  const count = edge.length;
  const border: number[] = [];
  for (let i = 0; i < count; i++) {
    if (edge[i] === 1 || sharp[i] === 1) border.push(positions[3 * i], positions[3 * i + 1], positions[3 * i + 2]);
  }
  const interior = new Uint8Array(count).fill(1);
  if (border.length === 0) return interior;
  const index = buildPointIndex(Float32Array.from(border));
  const found = new Int32Array(count);
  index.nearest(positions, EDGE_REACH * spacing, found, new Float32Array(count));
  index.dispose();
  for (let i = 0; i < count; i++) if (found[i] >= 0) interior[i] = 0;
  return interior;
}

/** Cosine of 10 degrees: normals of one plane, noise included. */
const SAME_PLANE = 0.985;

/**
 * Numbers the planes on which samples lie: a flat face is one plane however large it is, a curved surface is many small ones.
 *
 * Method   leader clustering in the order of the samples: a sample joins the first plane whose normal differs by less than 10
 *          degrees and from which it lies less than half a spacing.
 */
function groupByPlane(
  positions: Float32Array,
  normals: Float32Array,
  spacing: number,
): { plane: Int32Array; planeCount: number } {
  const count = positions.length / 3;
  const plane = new Int32Array(count);
  const leaders = new Float64Array(4 * count);
  let planeCount = 0;
  for (let i = 0; i < count; i++) {
    const nx = normals[3 * i];
    const ny = normals[3 * i + 1];
    const nz = normals[3 * i + 2];
    const x = positions[3 * i];
    const y = positions[3 * i + 1];
    const z = positions[3 * i + 2];
    let found = -1;
    for (let k = 0; k < planeCount && found < 0; k++) {
      const at = 4 * k;
      if (leaders[at] * nx + leaders[at + 1] * ny + leaders[at + 2] * nz < SAME_PLANE) continue;
      const away = leaders[at] * x + leaders[at + 1] * y + leaders[at + 2] * z - leaders[at + 3];
      if (Math.abs(away) < 0.5 * spacing) found = k;
    }
    if (found < 0) {
      found = planeCount++;
      leaders.set([nx, ny, nz, nx * x + ny * y + nz * z], 4 * found);
    }
    plane[i] = found;
  }
  return { plane, planeCount };
}
