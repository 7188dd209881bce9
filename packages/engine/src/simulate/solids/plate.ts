import { type CurvedStretch, gridLines } from './grid-lines.ts';
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
  /** Smallest radius of the outline: sets how finely it is cut. */
  readonly outlineRadius: number;
  /** Stretches of u and of v in which the outline is curved. Default: everywhere. */
  readonly curvedU?: readonly (readonly [number, number])[];
  readonly curvedV?: readonly (readonly [number, number])[];
}

/** Least step along an outline, mm: below it the triangles cost more than the shape gains. */
const LEAST_STEP = 4;

/**
 * A plate with sharp edges.
 *
 * Limits   corners sharper than a step are cut.
 */
export function plate(options: PlateOptions): SolidShape {
  return (tessellation) => {
    // Only the edge is curved, so its chord may be coarser than that of a surface.
    const radius = Math.max(4 * options.outlineRadius, LEAST_STEP ** 2 / (8 * tessellation.chord));
    const stretches = (k: 0 | 1): CurvedStretch[] =>
      ((k === 0 ? options.curvedU : options.curvedV) ?? [[options.low[k], options.high[k]]]).map(([from, to]) => ({
        from,
        to,
        radius,
      }));
    const u = gridLines(options.low[0], options.high[0], stretches(0), tessellation);
    const v = gridLines(options.low[1], options.high[1], stretches(1), tessellation);
    const grid = trimGrid(u, v, options.outline, tessellation.jitter);
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
