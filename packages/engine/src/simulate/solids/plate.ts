import { gridLines } from './grid-lines.ts';
import { addOutlineWalls } from './rounded-box.ts';
import { SolidBuilder, type SolidShape } from './solid-mesh.ts';
import { type PlaneOutline, trimGrid } from './trimmed-grid.ts';

/** A flat plate of any outline, between z = 0 and z = thickness. */
export interface PlateOptions {
  readonly outline: PlaneOutline;
  /** A box that holds the outline with room around it. */
  readonly low: readonly [number, number];
  readonly high: readonly [number, number];
  readonly thickness: number;
  /** Largest step of the grid under the outline, mm: at most the radius of its smallest hole and half its thinnest web. */
  readonly cell: number;
}

/**
 * A plate with sharp edges.
 *
 * Limits   corners without rounding are cut by up to a cell.
 */
export function plate(options: PlateOptions): SolidShape {
  return (tessellation) => {
    const fine = { ...tessellation, spacing: Math.min(tessellation.spacing, options.cell) };
    const u = gridLines(options.low[0], options.high[0], [], fine);
    const v = gridLines(options.low[1], options.high[1], [], fine);
    const grid = trimGrid(u, v, options.outline, tessellation.chord, tessellation.jitter);
    const builder = new SolidBuilder();
    const front = new Int32Array(grid.u.length).fill(-1);
    const back = new Int32Array(grid.u.length).fill(-1);
    for (const n of grid.triangles) {
      if (front[n] >= 0) continue;
      front[n] = builder.add(grid.u[n], grid.v[n], options.thickness);
      back[n] = builder.add(grid.u[n], grid.v[n], 0);
    }
    for (let k = 0; k < grid.triangles.length; k += 3) {
      const [a, b, c] = [grid.triangles[k], grid.triangles[k + 1], grid.triangles[k + 2]];
      builder.triangle(front[a], front[b], front[c]);
      builder.triangle(back[a], back[c], back[b]);
    }
    addOutlineWalls(builder, grid.outlineEdges, front, back, tessellation);
    return builder.finish();
  };
}
