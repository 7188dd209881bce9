/**
 * Which triangles meet at which edges.
 *
 * Half-edge 3 t + k runs from corner k of triangle t to its next corner. `opposite` is the half-edge of the neighbour
 * across it, -1 at a border and wherever an edge has more than two triangles or two that are wound against each other.
 */
export interface MeshTopology {
  readonly opposite: Int32Array;
  readonly edgeCount: number;
  readonly borderEdgeCount: number;
  /** Edges with more than two triangles. */
  readonly nonManifoldEdgeCount: number;
  /** Edges whose two triangles run along them in the same direction. */
  readonly reversedEdgeCount: number;
}

/** Finds the neighbours across all edges. Linear in the number of triangles. */
export function buildMeshTopology(triangles: Uint32Array, vertexCount: number): MeshTopology {
  const halfCount = triangles.length;
  const starts = new Uint32Array(vertexCount + 1);
  const lowOf = (h: number): number => Math.min(triangles[h], triangles[nextHalfEdge(h)]);
  for (let h = 0; h < halfCount; h++) starts[lowOf(h) + 1]++;
  for (let v = 0; v < vertexCount; v++) starts[v + 1] += starts[v];
  const fill = starts.slice(0, vertexCount);
  const halves = new Uint32Array(halfCount);
  for (let h = 0; h < halfCount; h++) halves[fill[lowOf(h)]++] = h;
  const opposite = new Int32Array(halfCount).fill(-1);
  let edgeCount = 0;
  let borderEdgeCount = 0;
  let nonManifoldEdgeCount = 0;
  let reversedEdgeCount = 0;
  const highOf = (h: number): number => Math.max(triangles[h], triangles[nextHalfEdge(h)]);
  for (let v = 0; v < vertexCount; v++) {
    const bucket = halves.subarray(starts[v], starts[v + 1]);
    if (bucket.length === 0) continue;
    sortBucket(bucket, highOf);
    for (let from = 0; from < bucket.length; ) {
      let to = from + 1;
      while (to < bucket.length && highOf(bucket[to]) === highOf(bucket[from])) to++;
      edgeCount++;
      if (to - from === 1) borderEdgeCount++;
      else if (to - from > 2) nonManifoldEdgeCount++;
      else if (triangles[bucket[from]] === triangles[bucket[from + 1]]) reversedEdgeCount++;
      else {
        opposite[bucket[from]] = bucket[from + 1];
        opposite[bucket[from + 1]] = bucket[from];
      }
      from = to;
    }
  }
  return { opposite, edgeCount, borderEdgeCount, nonManifoldEdgeCount, reversedEdgeCount };
}

function sortBucket(bucket: Uint32Array, highOf: (h: number) => number): void {
  for (let n = 1; n < bucket.length; n++) {
    const moving = bucket[n];
    const high = highOf(moving);
    let at = n;
    while (at > 0 && highOf(bucket[at - 1]) > high) {
      bucket[at] = bucket[at - 1];
      at--;
    }
    bucket[at] = moving;
  }
}

/** The next half-edge of the same triangle. */
export function nextHalfEdge(h: number): number {
  return h % 3 === 2 ? h - 2 : h + 1;
}

/** The previous half-edge of the same triangle. */
export function previousHalfEdge(h: number): number {
  return h % 3 === 0 ? h + 2 : h - 1;
}

/** Pieces connected across edges: the piece of each triangle, numbered in the order of their first triangle. */
export function meshComponents(topology: MeshTopology): { readonly component: Int32Array; readonly count: number } {
  const triangleCount = topology.opposite.length / 3;
  const component = new Int32Array(triangleCount).fill(-1);
  const stack: number[] = [];
  let count = 0;
  for (let t = 0; t < triangleCount; t++) {
    if (component[t] >= 0) continue;
    component[t] = count;
    stack.push(t);
    for (let top = stack.pop(); top !== undefined; top = stack.pop()) {
      for (let k = 0; k < 3; k++) {
        const other = topology.opposite[3 * top + k];
        if (other < 0) continue;
        const neighbour = Math.floor(other / 3);
        if (component[neighbour] >= 0) continue;
        component[neighbour] = count;
        stack.push(neighbour);
      }
    }
    count++;
  }
  return { component, count };
}

/** Closed runs of border edges; each entry lists the half-edges of one loop in order. */
export function boundaryLoops(topology: MeshTopology): number[][] {
  const { opposite } = topology;
  const visited = new Uint8Array(opposite.length);
  const loops: number[][] = [];
  for (let start = 0; start < opposite.length; start++) {
    if (opposite[start] >= 0 || visited[start]) continue;
    const loop: number[] = [];
    for (let h = start; !visited[h]; ) {
      visited[h] = 1;
      loop.push(h);
      let next = nextHalfEdge(h);
      while (opposite[next] >= 0) next = nextHalfEdge(opposite[next]);
      h = next;
    }
    loops.push(loop);
  }
  return loops;
}

/** A mesh in which every vertex has one fan of triangles. */
export interface SplitMesh {
  readonly triangles: Uint32Array;
  readonly vertexCount: number;
  /** For each vertex the one it was before; the first vertices keep their numbers. */
  readonly sourceVertex: Uint32Array;
  readonly splitCount: number;
}

/**
 * Gives every fan of triangles its own vertex, so that no vertex is pinched and no edge has more than two triangles.
 *
 * Edges with more than two triangles are cut open. Nothing moves; the map back is kept.
 */
export function splitNonManifold(triangles: Uint32Array, vertexCount: number, topology: MeshTopology): SplitMesh {
  const { opposite } = topology;
  const done = new Uint8Array(triangles.length);
  const used = new Uint8Array(vertexCount);
  const out = triangles.slice();
  const sources: number[] = [];
  for (let corner = 0; corner < triangles.length; corner++) {
    if (done[corner]) continue;
    const vertex = triangles[corner];
    let name = vertex;
    if (used[vertex]) {
      name = vertexCount + sources.length;
      sources.push(vertex);
    }
    used[vertex] = 1;
    // Forward over the edge that ends here, then, where that meets a border, backward over the edge that starts here.
    let at = corner;
    while (!done[at]) {
      done[at] = 1;
      out[at] = name;
      const across = opposite[previousHalfEdge(at)];
      if (across < 0) break;
      at = across;
    }
    at = corner;
    for (;;) {
      const across = opposite[at];
      if (across < 0) break;
      at = nextHalfEdge(across);
      if (done[at]) break;
      done[at] = 1;
      out[at] = name;
    }
  }
  const sourceVertex = new Uint32Array(vertexCount + sources.length);
  for (let v = 0; v < vertexCount; v++) sourceVertex[v] = v;
  sourceVertex.set(sources, vertexCount);
  return { triangles: out, vertexCount: vertexCount + sources.length, sourceVertex, splitCount: sources.length };
}
