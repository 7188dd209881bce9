import type { CoarseSurface } from './coarse-surface.ts';

const BLOCK = 8;

/**
 * The nearest sample for every small cube near a surface: one table look-up instead of a search.
 *
 * Layout   blocks of 8 x 8 x 8 cubes, present only near the surface; -1 where no sample is near.
 */
export interface CoarseLookup {
  readonly surface: CoarseSurface;
  /** How far from the surface the table reaches, mm. */
  readonly reach: number;
  readonly cell: number;
  readonly min: readonly [number, number, number];
  /** Blocks along each axis. */
  readonly dims: readonly [number, number, number];
  /** Where each block's cubes start in `nearest`, or -1. */
  readonly blocks: Int32Array;
  readonly nearest: Int32Array;
}

/**
 * Builds the table for a surface.
 *
 * Assumes  `reach` of a few sample spacings; the answer for a point is that of the centre of its cube, half a spacing wide.
 * Cost     proportional to the samples.
 */
export function buildCoarseLookup(surface: CoarseSurface, reach: number): CoarseLookup {
  const { positions, count, spacing } = surface;
  const cell = spacing / 2;
  const min: [number, number, number] = [Infinity, Infinity, Infinity];
  const max: [number, number, number] = [-Infinity, -Infinity, -Infinity];
  for (let i = 0; i < positions.length; i++) {
    min[i % 3] = Math.min(min[i % 3], positions[i]);
    max[i % 3] = Math.max(max[i % 3], positions[i]);
  }
  const dims: [number, number, number] = [1, 1, 1];
  for (let axis = 0; axis < 3; axis++) {
    if (count === 0) min[axis] = 0;
    else {
      min[axis] -= reach + cell;
      dims[axis] = Math.floor((max[axis] + reach + cell - min[axis]) / (cell * BLOCK)) + 1;
    }
  }
  const blocks = new Int32Array(dims[0] * dims[1] * dims[2]).fill(-1);
  let used = 0;
  const reachCells = Math.ceil(reach / cell);
  const range = (value: number, axis: number): [number, number] => {
    const center = Math.floor((value - min[axis]) / cell);
    return [Math.max(0, center - reachCells), Math.min(dims[axis] * BLOCK - 1, center + reachCells)];
  };
  for (let i = 0; i < count; i++) {
    const [x0, x1] = range(positions[3 * i], 0);
    const [y0, y1] = range(positions[3 * i + 1], 1);
    const [z0, z1] = range(positions[3 * i + 2], 2);
    for (let z = z0 >> 3; z <= z1 >> 3; z++) {
      for (let y = y0 >> 3; y <= y1 >> 3; y++) {
        for (let x = x0 >> 3; x <= x1 >> 3; x++) {
          const block = (z * dims[1] + y) * dims[0] + x;
          if (blocks[block] < 0) blocks[block] = used++ * BLOCK ** 3;
        }
      }
    }
  }
  const nearest = new Int32Array(used * BLOCK ** 3).fill(-1);
  const best = new Float32Array(nearest.length).fill(reach * reach);
  for (let i = 0; i < count; i++) {
    const [x0, x1] = range(positions[3 * i], 0);
    const [y0, y1] = range(positions[3 * i + 1], 1);
    const [z0, z1] = range(positions[3 * i + 2], 2);
    for (let z = z0; z <= z1; z++) {
      const dz = min[2] + (z + 0.5) * cell - positions[3 * i + 2];
      for (let y = y0; y <= y1; y++) {
        const dy = min[1] + (y + 0.5) * cell - positions[3 * i + 1];
        const part = dz * dz + dy * dy;
        if (part >= reach * reach) continue;
        for (let x = x0; x <= x1; x++) {
          const dx = min[0] + (x + 0.5) * cell - positions[3 * i];
          const d2 = part + dx * dx;
          const start = blocks[((z >> 3) * dims[1] + (y >> 3)) * dims[0] + (x >> 3)];
          const at = start + (((z & 7) << 6) | ((y & 7) << 3) | (x & 7));
          if (d2 < best[at]) {
            best[at] = d2;
            nearest[at] = i;
          }
        }
      }
    }
  }
  return { surface, reach, cell, min, dims, blocks, nearest };
}

/** Sample nearest to a point, or -1 when none is within reach. */
export function lookUpNearest(table: CoarseLookup, x: number, y: number, z: number): number {
  const { min, dims, cell } = table;
  const cx = Math.floor((x - min[0]) / cell);
  const cy = Math.floor((y - min[1]) / cell);
  const cz = Math.floor((z - min[2]) / cell);
  if (cx < 0 || cy < 0 || cz < 0) return -1;
  const bx = cx >> 3;
  const by = cy >> 3;
  const bz = cz >> 3;
  if (bx >= dims[0] || by >= dims[1] || bz >= dims[2]) return -1;
  const start = table.blocks[(bz * dims[1] + by) * dims[0] + bx];
  return start < 0 ? -1 : table.nearest[start + (((cz & 7) << 6) | ((cy & 7) << 3) | (cx & 7))];
}
