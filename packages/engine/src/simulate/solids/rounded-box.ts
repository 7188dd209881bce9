import type { Vec3 } from '../../math/index.ts';
import { type CurvedStretch, gridLines } from './grid-lines.ts';
import { SolidBuilder, type SolidShape, type Tessellation } from './solid-mesh.ts';
import { type PlaneOutline, roundedRectangle, type TrimmedGrid, trimGrid } from './trimmed-grid.ts';

/** An opening with rounded corners in faces across an axis; only the two other coordinates of `low` and `high` count. */
export interface BoxOpening {
  readonly axis: 0 | 1 | 2;
  /** Which face; 0 goes through both faces of a box that is not hollow. */
  readonly side: 1 | -1 | 0;
  readonly low: Vec3;
  readonly high: Vec3;
  readonly radius: number;
}

/** A box with all edges rounded, centred on the origin. */
export interface RoundedBoxOptions {
  readonly size: Vec3;
  readonly radius: number;
  /** Hollow with walls of this thickness, smaller than the radius. Default: full. */
  readonly wall?: number;
  readonly openings?: readonly BoxOpening[];
  /** Height above the +z face, zero at its border, and where along x and y it is curved. */
  readonly relief?: {
    readonly height: (x: number, y: number) => number;
    readonly x: readonly CurvedStretch[];
    readonly y: readonly CurvedStretch[];
  };
}

/** Where a line of an axis lies: the centre of the rounding and the angle of the rounding, up to 45 degrees. */
function unroll(line: number, flat: number, radius: number): [number, number] {
  const over = Math.abs(line) - flat;
  if (over <= 0) return [line, 0];
  return [Math.sign(line) * flat, Math.sign(line) * Math.min(Math.tan(over / radius), 1)];
}

function axisLines(axis: number, options: RoundedBoxOptions, tessellation: Tessellation): number[] {
  const { radius } = options;
  const flat = options.size[axis] / 2 - radius;
  const end = flat + (radius * Math.PI) / 4;
  const stretches: CurvedStretch[] = [
    { from: -end, to: -flat, radius },
    { from: flat, to: end, radius },
  ];
  for (const o of options.openings ?? []) {
    if (o.axis === axis) continue;
    // Two steps over a corner keep its shape; the trimming follows the outline from there.
    const radius = (o.radius / 2) ** 2 / (8 * tessellation.chord);
    stretches.push({ from: o.low[axis], to: o.low[axis] + o.radius, radius });
    stretches.push({ from: o.high[axis] - o.radius, to: o.high[axis], radius });
  }
  if (axis === 0) stretches.push(...(options.relief?.x ?? []));
  if (axis === 1) stretches.push(...(options.relief?.y ?? []));
  return gridLines(-end, end, stretches, tessellation);
}

function outlineOf(axis: number, side: number, options: RoundedBoxOptions): PlaneOutline | null {
  const [u, v] = [(axis + 1) % 3, (axis + 2) % 3];
  const holes = (options.openings ?? [])
    .filter((o) => o.axis === axis && (o.side === side || o.side === 0))
    .map((o) => roundedRectangle(o.low[u], o.high[u], o.low[v], o.high[v], o.radius));
  if (holes.length === 0) return null;
  return (a, b) => holes.reduce((distance, hole) => Math.max(distance, -hole(a, b)), Number.NEGATIVE_INFINITY);
}

/** Whether any of a face is wanted; `looks`: +1 or -1, the way its material's surface looks along the axis. */
function isFaceReached(
  axis: number,
  side: number,
  looks: number,
  options: RoundedBoxOptions,
  tessellation: Tessellation,
): boolean {
  if (!tessellation.reached) return true;
  const half = options.size.map((s) => s / 2);
  const low: [number, number, number] = [-half[0], -half[1], -half[2]];
  const high: [number, number, number] = [half[0], half[1], half[2]];
  const depth = options.radius + (options.wall ?? 0);
  if (side > 0) low[axis] = half[axis] - depth;
  else high[axis] = depth - half[axis];
  const direction: [number, number, number] = [0, 0, 0];
  direction[axis] = looks;
  return tessellation.reached(low, high, direction);
}

/** Adds one skin of a face; gives the builder's vertex of every grid vertex in use, else -1. */
function addSkin(
  builder: SolidBuilder,
  grid: TrimmedGrid,
  place: (u: number, v: number) => Vec3,
  outward: boolean,
  isWanted: boolean,
): Int32Array {
  const vertices = new Int32Array(grid.u.length).fill(-1);
  if (!isWanted) {
    // Only what the walls of openings hang on.
    for (const edge of grid.outlineEdges) {
      for (const n of edge) {
        if (vertices[n] < 0) vertices[n] = builder.add(...(place(grid.u[n], grid.v[n]) as [number, number, number]));
      }
    }
    return vertices;
  }
  for (const n of grid.triangles) {
    if (vertices[n] >= 0) continue;
    const p = place(grid.u[n], grid.v[n]);
    vertices[n] = grid.onBorder[n] ? builder.addShared(p[0], p[1], p[2]) : builder.add(p[0], p[1], p[2]);
  }
  for (let k = 0; k < grid.triangles.length; k += 3) {
    const a = vertices[grid.triangles[k]];
    const b = vertices[grid.triangles[k + 1]];
    const c = vertices[grid.triangles[k + 2]];
    if (outward) builder.triangle(a, b, c);
    else builder.triangle(a, c, b);
  }
  return vertices;
}

/**
 * Joins two skins along the outline: walls of an opening. `front` has its material on the left of the edges when seen
 * from outside.
 */
export function addOutlineWalls(
  builder: SolidBuilder,
  edges: readonly (readonly [number, number])[],
  front: Int32Array,
  back: Int32Array,
  tessellation: Tessellation,
): void {
  const columns = new Map<number, number[]>();
  const column = (n: number): number[] => {
    const known = columns.get(n);
    if (known) return known;
    const p = builder.at(front[n]);
    const q = builder.at(back[n]);
    const depth = Math.hypot(q[0] - p[0], q[1] - p[1], q[2] - p[2]);
    const steps = Math.max(1, Math.ceil(depth / tessellation.spacing - 1e-6));
    const line = [front[n]];
    for (let k = 1; k < steps; k++) {
      const s = k / steps;
      line.push(builder.add(p[0] + s * (q[0] - p[0]), p[1] + s * (q[1] - p[1]), p[2] + s * (q[2] - p[2])));
    }
    line.push(back[n]);
    columns.set(n, line);
    return line;
  };
  for (const [a, b] of edges) {
    const lineA = column(a);
    const lineB = column(b);
    for (let k = 1; k < lineA.length; k++) builder.quad(lineA[k], lineB[k], lineB[k - 1], lineA[k - 1]);
  }
}

/**
 * A box with rounded edges, full or hollow, with openings in its flat faces.
 *
 * Method   each face runs to the middle of its roundings (45 degrees), so six faces close the box; the inner skin of a
 *          hollow box is the exact offset of the outer one.
 *
 * @throws RangeError when the roundings do not fit, a wall is not thinner than the rounding, or an opening leaves the flat
 */
export function roundedBox(options: RoundedBoxOptions): SolidShape {
  const { size, radius, wall } = options;
  if (!(radius > 0 && radius <= Math.min(...size) / 2)) throw new RangeError('The rounding does not fit the box.');
  if (wall !== undefined && !(wall > 0 && wall < radius)) throw new RangeError('A wall is thinner than the rounding.');
  for (const o of options.openings ?? []) {
    for (const axis of [0, 1, 2]) {
      const flat = size[axis] / 2 - radius;
      if (axis !== o.axis && !(o.low[axis] > -flat && o.high[axis] < flat)) {
        throw new RangeError('An opening lies in the flat part of a face.');
      }
    }
  }
  return (tessellation) => {
    const builder = new SolidBuilder();
    const lines = [0, 1, 2].map((axis) => axisLines(axis, options, tessellation));
    const flats = size.map((s) => s / 2 - radius);
    for (const axis of [0, 1, 2]) {
      const [u, v] = [(axis + 1) % 3, (axis + 2) % 3];
      const skin = (side: number, depth: number) => {
        return (a: number, b: number): Vec3 => {
          const [cu, tu] = unroll(a, flats[u], radius);
          const [cv, tv] = unroll(b, flats[v], radius);
          const reach = (radius - depth) / Math.hypot(tu, tv, 1);
          const p: [number, number, number] = [0, 0, 0];
          p[u] = cu + reach * tu;
          p[v] = cv + reach * tv;
          p[axis] = side * (flats[axis] + reach);
          if (axis === 2 && side > 0 && options.relief) p[2] += options.relief.height(p[0], p[1]);
          return p;
        };
      };
      if (wall === undefined && (options.openings ?? []).some((o) => o.axis === axis)) {
        const grid = trimGrid(lines[u], lines[v], outlineOf(axis, 0, options), tessellation.chord, tessellation.jitter);
        const front = addSkin(builder, grid, skin(1, 0), true, true);
        const back = addSkin(builder, grid, skin(-1, 0), false, true);
        addOutlineWalls(builder, grid.outlineEdges, front, back, tessellation);
        continue;
      }
      for (const side of [1, -1]) {
        const frontWanted = isFaceReached(axis, side, side, options, tessellation);
        const backWanted = wall !== undefined && isFaceReached(axis, side, -side, options, tessellation);
        if (!frontWanted && !backWanted) continue;
        const grid = trimGrid(
          lines[u],
          lines[v],
          outlineOf(axis, side, options),
          tessellation.chord,
          tessellation.jitter,
        );
        const front = addSkin(builder, grid, skin(side, 0), side > 0, frontWanted);
        if (wall === undefined) continue;
        const back = addSkin(builder, grid, skin(side, wall), side < 0, backWanted);
        const edges = side > 0 ? grid.outlineEdges : grid.outlineEdges.map(([a, b]) => [b, a] as const);
        addOutlineWalls(builder, edges, front, back, tessellation);
      }
    }
    return builder.finish();
  };
}
