import type { Random } from '../../base/index.ts';
import { GrowingFloat64, GrowingUint32 } from './growing-numbers.ts';

/** Signed distance to an outline in a plane, negative on the material. */
export type PlaneOutline = (u: number, v: number) => number;

/** A flat triangulation of the material inside a grid. */
export interface TrimmedGrid {
  readonly u: Float64Array;
  readonly v: Float64Array;
  /** 1 for vertices on the border of the grid. */
  readonly onBorder: Uint8Array;
  /** Counter-clockwise in (u, v). */
  readonly triangles: Uint32Array;
  /** Edges along the outline, pairs of vertices, material on the left. */
  readonly outlineEdges: readonly (readonly [number, number])[];
}

/** Signed distance to a rectangle with rounded corners: negative inside. */
export function roundedRectangle(u0: number, u1: number, v0: number, v1: number, radius: number): PlaneOutline {
  const [cu, cv] = [(u0 + u1) / 2, (v0 + v1) / 2];
  const [hu, hv] = [(u1 - u0) / 2 - radius, (v1 - v0) / 2 - radius];
  return (u, v) => {
    const a = Math.abs(u - cu) - hu;
    const b = Math.abs(v - cv) - hv;
    return Math.hypot(Math.max(a, 0), Math.max(b, 0)) + Math.min(Math.max(a, b), 0) - radius;
  };
}

/** Signed distance to a disc. */
export function disc(cu: number, cv: number, radius: number): PlaneOutline {
  return (u, v) => Math.hypot(u - cu, v - cv) - radius;
}

/** Material of the first without that of the others. */
export function withoutOutlines(body: PlaneOutline, ...holes: readonly PlaneOutline[]): PlaneOutline {
  return (u, v) => holes.reduce((distance, hole) => Math.max(distance, -hole(u, v)), body(u, v));
}

/** Signed distance to a convex hull of discs of one radius around corner points, given counter-clockwise. */
export function roundedPolygon(corners: readonly (readonly [number, number])[], radius: number): PlaneOutline {
  return (u, v) => {
    let outside = Number.POSITIVE_INFINITY;
    let deepest = Number.NEGATIVE_INFINITY;
    corners.forEach((a, k) => {
      const b = corners[(k + 1) % corners.length];
      const [du, dv] = [b[0] - a[0], b[1] - a[1]];
      const length = Math.hypot(du, dv);
      deepest = Math.max(deepest, ((u - a[0]) * dv - (v - a[1]) * du) / length);
      const s = Math.max(0, Math.min(1, ((u - a[0]) * du + (v - a[1]) * dv) / (length * length)));
      outside = Math.min(outside, Math.hypot(u - a[0] - s * du, v - a[1] - s * dv));
    });
    return (deepest > 0 ? outside : deepest) - radius;
  };
}

/**
 * Triangulates the part of a grid that lies on the material of an outline.
 *
 * Method   marching over the cells: nodes close to the outline are moved onto it, edges that cross it get a vertex found
 *          by bisection, so every outline vertex lies on the outline to 1e-9 of a step.
 *          Then edges along the outline are halved until they follow it to within the chord.
 * Limits   a feature of the outline smaller than a cell is lost; corners without rounding are cut by up to a cell.
 *
 * @param uLines ascending
 * @param vLines ascending
 * @param outline null: the whole grid is material
 * @param chord largest distance of an edge from the outline
 * @param jitter moves nodes inside the material by up to a fifth of their step
 */
export function trimGrid(
  uLines: readonly number[],
  vLines: readonly number[],
  outline: PlaneOutline | null,
  chord: number,
  jitter: Random | null,
): TrimmedGrid {
  const columns = uLines.length;
  const rows = vLines.length;
  const uList = new GrowingFloat64();
  const vList = new GrowingFloat64();
  const borderList = new GrowingUint32();
  // 1 material, 0 on the outline, -1 outside.
  const side = new Int8Array(columns * rows).fill(1);
  for (let j = 0; j < rows; j++) {
    for (let i = 0; i < columns; i++) {
      let u = uLines[i];
      let v = vLines[j];
      const atBorder = i === 0 || j === 0 || i === columns - 1 || j === rows - 1;
      if (!atBorder) {
        const stepU = Math.min(u - uLines[i - 1], uLines[i + 1] - u);
        const stepV = Math.min(v - vLines[j - 1], vLines[j + 1] - v);
        const step = Math.min(stepU, stepV);
        let moved = false;
        if (outline !== null) {
          const d = outline(u, v);
          side[j * columns + i] = d < 0 ? 1 : -1;
          if (Math.abs(d) < 0.25 * step) {
            const e = 1e-4 * step;
            const gu = (outline(u + e, v) - outline(u - e, v)) / (2 * e);
            const gv = (outline(u, v + e) - outline(u, v - e)) / (2 * e);
            const toU = u - d * gu;
            const toV = v - d * gv;
            // At a sharp corner of the outline the gradient misleads; leave the node where it is.
            if (Math.abs(outline(toU, toV)) < 1e-9 * step + 1e-9) {
              u = toU;
              v = toV;
              side[j * columns + i] = 0;
              moved = true;
            }
          } else if (Math.abs(d) < step) moved = true;
        }
        if (jitter !== null) {
          const a = 0.4 * (jitter.uniform() - 0.5);
          const b = 0.4 * (jitter.uniform() - 0.5);
          if (!moved) {
            u += a * stepU;
            v += b * stepV;
          }
        }
      } else if (outline !== null) side[j * columns + i] = outline(u, v) < 0 ? 1 : -1;
      uList.push(u);
      vList.push(v);
      borderList.push(atBorder ? 1 : 0);
    }
  }
  const atGridBorder = (node: number): boolean => {
    const [i, j] = [node % columns, Math.floor(node / columns)];
    return i === 0 || j === 0 || i === columns - 1 || j === rows - 1;
  };
  const crossings = new Map<number, number>();
  const crossing = (inside: number, outside: number): number => {
    const key = Math.min(inside, outside) * 2 + (Math.abs(inside - outside) === 1 ? 0 : 1);
    const known = crossings.get(key);
    if (known !== undefined) return known;
    const [us, vs] = [uList.values, vList.values];
    let near = 0;
    let far = 1;
    const f = outline as PlaneOutline;
    for (let k = 0; k < 50; k++) {
      const middle = (near + far) / 2;
      const d = f(us[inside] + middle * (us[outside] - us[inside]), vs[inside] + middle * (vs[outside] - vs[inside]));
      if (d < 0) near = middle;
      else far = middle;
    }
    uList.push(us[inside] + near * (us[outside] - us[inside]));
    vList.push(vs[inside] + near * (vs[outside] - vs[inside]));
    borderList.push(atGridBorder(inside) && atGridBorder(outside) ? 1 : 0);
    crossings.set(key, uList.length - 1);
    return uList.length - 1;
  };
  const triangles = new GrowingUint32();
  const atOutline = new Set<number>();
  for (let j = 0; j + 1 < rows; j++) {
    for (let i = 0; i + 1 < columns; i++) {
      const a = j * columns + i;
      const b = a + 1;
      const d = a + columns;
      const c = d + 1;
      if (side[a] === 1 && side[b] === 1 && side[c] === 1 && side[d] === 1) {
        // Alternating diagonals keep the pattern free of a direction.
        if ((i + j) % 2 === 0) {
          triangles.push3(a, b, c);
          triangles.push3(a, c, d);
        } else {
          triangles.push3(a, b, d);
          triangles.push3(b, c, d);
        }
        continue;
      }
      const nodes = [a, b, c, d];
      const sides = nodes.map((n) => side[n]);
      const polygon: number[] = [];
      for (let k = 0; k < 4; k++) {
        const next = (k + 1) % 4;
        if (sides[k] >= 0) polygon.push(nodes[k]);
        if (sides[k] === 1 && sides[next] === -1) polygon.push(crossing(nodes[k], nodes[next]));
        if (sides[k] === -1 && sides[next] === 1) polygon.push(crossing(nodes[next], nodes[k]));
      }
      if (polygon.length < 3) continue;
      if (!sides.includes(1)) {
        const mean = (x: Float64Array): number => polygon.reduce((sum, n) => sum + x[n], 0) / polygon.length;
        if ((outline as PlaneOutline)(mean(uList.values), mean(vList.values)) >= 0) continue;
      }
      for (let k = 2; k < polygon.length; k++) triangles.push3(polygon[0], polygon[k - 1], polygon[k]);
      for (const n of polygon) atOutline.add(n);
    }
  }
  const edges = outline === null ? [] : freeEdges(triangles.toArray(), atOutline, borderList.values);
  if (outline !== null) refineOutline(edges, { u: uList, v: vList, border: borderList, triangles }, outline, chord);
  return {
    u: uList.toArray(),
    v: vList.toArray(),
    onBorder: Uint8Array.from(borderList.toArray()),
    triangles: triangles.toArray(),
    outlineEdges: edges.map(([from, to]) => [from, to] as const),
  };
}

/** An edge along the outline: its ends and the triangle it belongs to. */
type OutlineEdge = [from: number, to: number, triangle: number];

/** Edges of triangles near the outline that have no triangle on their other side and do not lie on the grid's border. */
function freeEdges(triangles: Uint32Array, near: ReadonlySet<number>, border: Uint32Array): OutlineEdge[] {
  const edges = new Map<number, OutlineEdge>();
  const size = border.length;
  for (let k = 0; k < triangles.length; k += 3) {
    for (let e = 0; e < 3; e++) {
      const a = triangles[k + e];
      const b = triangles[k + ((e + 1) % 3)];
      if (!near.has(a) && !near.has(b)) continue;
      if (!edges.delete(b * size + a)) edges.set(a * size + b, [a, b, k / 3]);
    }
  }
  return [...edges.values()].filter(([a, b]) => near.has(a) && near.has(b) && !(border[a] && border[b]));
}

/** Halves outline edges in place where their middle lies farther from the outline than the chord. */
function refineOutline(
  edges: OutlineEdge[],
  grid: { u: GrowingFloat64; v: GrowingFloat64; border: GrowingUint32; triangles: GrowingUint32 },
  outline: PlaneOutline,
  chord: number,
): void {
  const { u, v, border, triangles } = grid;
  const area = (a: number, b: number, c: number): number =>
    (u.values[b] - u.values[a]) * (v.values[c] - v.values[a]) -
    (v.values[b] - v.values[a]) * (u.values[c] - u.values[a]);
  // The list grows while it is walked: both halves are looked at again.
  for (let k = 0; k < edges.length; k++) {
    for (;;) {
      const [a, b, triangle] = edges[k];
      const length = Math.hypot(u.values[b] - u.values[a], v.values[b] - v.values[a]);
      let mu = (u.values[a] + u.values[b]) / 2;
      let mv = (v.values[a] + v.values[b]) / 2;
      if (Math.abs(outline(mu, mv)) <= chord || length < chord) break;
      const e = 1e-4 * length;
      for (let round = 0; round < 3; round++) {
        const d = outline(mu, mv);
        const gu = (outline(mu + e, mv) - outline(mu - e, mv)) / (2 * e);
        const gv = (outline(mu, mv + e) - outline(mu, mv - e)) / (2 * e);
        mu -= d * gu;
        mv -= d * gv;
      }
      if (!(Math.abs(outline(mu, mv)) < 1e-6 * length)) break;
      const corners = [0, 1, 2].map((i) => triangles.values[3 * triangle + i]);
      const c = corners.find((corner) => corner !== a && corner !== b) as number;
      u.push(mu);
      v.push(mv);
      border.push(0);
      const m = u.length - 1;
      if (!(area(a, m, c) > 0 && area(m, b, c) > 0)) {
        // The triangle is too flat to be split there; the vertex is left unused.
        break;
      }
      const values = triangles.values;
      values[3 * triangle] = a;
      values[3 * triangle + 1] = m;
      values[3 * triangle + 2] = c;
      triangles.push3(m, b, c);
      edges[k] = [a, m, triangle];
      edges.push([m, b, triangles.length / 3 - 1]);
      // Another outline edge may hang on the triangle that was split: c-a stays, b-c moved to the new one.
      const moved = edges.findIndex(([from, to, of], i) => i !== k && of === triangle && from === b && to === c);
      if (moved >= 0) edges[moved][2] = triangles.length / 3 - 1;
    }
  }
}
