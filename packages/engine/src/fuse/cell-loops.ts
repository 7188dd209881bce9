import { type FaceWalk, makeFaceWalk, pairFaceCrossings } from './face-pairing.ts';

/** Most crossings a cell may have: two on each of its twelve edges. */
const MOST_IN_CELL = 24;

/** What {@link traceCellLoops} asks of the grid around it. */
export interface CrossingSource {
  /** First crossing of edge 3 node + axis, and how many there are. */
  readonly first: Int32Array;
  readonly counts: Uint8Array;
  senseOf(crossing: number): number;
  writeNormal(crossing: number, out: Float64Array, at: number): void;
}

/** The crossings of one cell and the loop each belongs to. */
export interface CellLoops {
  count: number;
  readonly crossings: Int32Array;
  readonly loops: Int32Array;
  /** Which of the four cells around its edge this cell is for each crossing, counter-clockwise seen from the edge's end. */
  readonly slots: Int8Array;
  loopCount: number;
  /** 1 for a loop that closes, 0 for a path that ends inside the cell's border because the data does. */
  readonly closed: Uint8Array;
  /** Scratch. */
  readonly links: Int32Array;
  readonly stack: Int32Array;
  readonly walk: FaceWalk;
}

/** Room for the largest cell. */
export function makeCellLoops(): CellLoops {
  return {
    count: 0,
    crossings: new Int32Array(MOST_IN_CELL),
    loops: new Int32Array(MOST_IN_CELL),
    slots: new Int8Array(MOST_IN_CELL),
    loopCount: 0,
    closed: new Uint8Array(MOST_IN_CELL),
    links: new Int32Array(2 * MOST_IN_CELL),
    stack: new Int32Array(MOST_IN_CELL),
    walk: makeFaceWalk(),
  };
}

/** Slot of a cell around an edge, from whether the edge lies at the cell's low (0) or high (1) side in u and v. */
const SLOT_OF_SIDE = [2, 3, 1, 0] as const;

/**
 * Groups the crossings of a cell into loops: each is one sheet that runs through the cell, open where the data ends.
 *
 * Method   every face of the cell joins its crossings in pairs ({@link pairFaceCrossings}); a crossing lies on two faces of
 *          the cell, so the pairs chain the crossings into closed loops or open paths. With one sign a node this yields the
 *          cases of marching cubes (Lorensen & Cline 1987); it needs no table, and holds for several sheets in one cell.
 *
 * @param node the cell's low corner
 * @param strides steps to the next node along each axis
 */
export function traceCellLoops(
  source: CrossingSource,
  node: number,
  strides: readonly [number, number, number],
  out: CellLoops,
): void {
  out.count = 0;
  for (let axis = 0; axis < 3; axis++) {
    const u = strides[(axis + 1) % 3];
    const v = strides[(axis + 2) % 3];
    for (let side = 0; side < 4; side++) {
      const edge = 3 * (node + (side & 1 ? u : 0) + (side & 2 ? v : 0)) + axis;
      for (let n = 0; n < source.counts[edge]; n++) {
        out.slots[out.count] = SLOT_OF_SIDE[side];
        out.crossings[out.count++] = source.first[edge] + n;
      }
    }
  }
  out.links.fill(-1, 0, 2 * out.count);
  for (let axis = 0; axis < 3; axis++) {
    pairFace(source, node, axis, strides, out);
    pairFace(source, node + strides[axis], axis, strides, out);
  }
  followLinks(out);
}

/** Walks around the face across `axis` at a node, pairs its crossings and links them in the cell. */
function pairFace(
  source: CrossingSource,
  node: number,
  axis: number,
  strides: readonly [number, number, number],
  out: CellLoops,
): void {
  const u = (axis + 1) % 3;
  const v = (axis + 2) % 3;
  const walk = out.walk;
  walk.count = 0;
  addEdge(source, walk, 3 * node + u, 0, 1);
  addEdge(source, walk, 3 * (node + strides[u]) + v, 1, 1);
  addEdge(source, walk, 3 * (node + strides[v]) + u, 2, -1);
  addEdge(source, walk, 3 * node + v, 3, -1);
  if (walk.count < 2) return;
  pairFaceCrossings(walk);
  for (let n = 0; n < walk.count; n++) {
    const partner = walk.partners[n];
    if (partner < 0) continue;
    const from = placeOf(out, walk.ids[n]);
    const to = placeOf(out, walk.ids[partner]);
    if (out.links[2 * from] < 0) out.links[2 * from] = to;
    else out.links[2 * from + 1] = to;
  }
}

function addEdge(source: CrossingSource, walk: FaceWalk, edge: number, side: number, direction: number): void {
  const count = source.counts[edge];
  for (let n = 0; n < count; n++) {
    const crossing = source.first[edge] + (direction > 0 ? n : count - 1 - n);
    walk.ids[walk.count] = crossing;
    walk.senses[walk.count] = source.senseOf(crossing) * direction;
    walk.edges[walk.count] = side;
    source.writeNormal(crossing, walk.normals, 3 * walk.count);
    walk.count++;
  }
}

function placeOf(out: CellLoops, crossing: number): number {
  for (let n = 0; n < out.count; n++) if (out.crossings[n] === crossing) return n;
  return -1;
}

function followLinks(out: CellLoops): void {
  out.loops.fill(-1, 0, out.count);
  out.loopCount = 0;
  for (let start = 0; start < out.count; start++) {
    if (out.loops[start] >= 0) continue;
    const loop = out.loopCount++;
    out.closed[loop] = 1;
    let depth = 0;
    out.stack[depth++] = start;
    out.loops[start] = loop;
    while (depth > 0) {
      const at = out.stack[--depth];
      for (let side = 0; side < 2; side++) {
        const next = out.links[2 * at + side];
        if (next < 0) out.closed[loop] = 0;
        if (next < 0 || out.loops[next] >= 0) continue;
        out.loops[next] = loop;
        out.stack[depth++] = next;
      }
    }
  }
}
