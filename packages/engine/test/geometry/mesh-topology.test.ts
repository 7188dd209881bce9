import { describe, expect, it } from 'vitest';
import {
  boundaryLoops,
  buildMeshTopology,
  hausdorffDistance,
  meshComponents,
  splitNonManifold,
} from '../../src/geometry/index.ts';

const TETRAHEDRON = [0, 2, 1, 0, 1, 3, 1, 2, 3, 2, 0, 3];

/** Torus of m x n quadrangles, each two triangles. */
function torusGrid(m: number, n: number): Uint32Array {
  const at = (i: number, j: number): number => (i % m) * n + (j % n);
  const triangles: number[] = [];
  for (let i = 0; i < m; i++) {
    for (let j = 0; j < n; j++) {
      triangles.push(at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j), at(i + 1, j + 1), at(i, j + 1));
    }
  }
  return Uint32Array.from(triangles);
}

describe('mesh topology', () => {
  it('counts vertices, edges and faces of known solids (Euler: V - E + F = 2 - 2 g)', () => {
    const tetrahedron = buildMeshTopology(Uint32Array.from(TETRAHEDRON), 4);
    expect([4, tetrahedron.edgeCount, 4]).toEqual([4, 6, 4]);
    expect(tetrahedron.borderEdgeCount).toBe(0);
    const torus = buildMeshTopology(torusGrid(7, 5), 35);
    // m n / 3 m n / 2 m n.
    expect([35, torus.edgeCount, 70]).toEqual([35, 105, 70]);
    expect(torus.reversedEdgeCount + torus.nonManifoldEdgeCount + torus.borderEdgeCount).toBe(0);
    expect(meshComponents(torus).count).toBe(1);
  });

  it('follows borders: a torus without one quadrangle has one loop of four edges', () => {
    const open = torusGrid(6, 6).slice(6);
    const loops = boundaryLoops(buildMeshTopology(open, 36));
    expect(loops.map((loop) => loop.length)).toEqual([4]);
  });

  it('names edges with three triangles and edges wound against each other', () => {
    const fin = buildMeshTopology(Uint32Array.from([0, 1, 2, 1, 0, 3, 0, 1, 4]), 5);
    expect(fin.nonManifoldEdgeCount).toBe(1);
    const reversed = buildMeshTopology(Uint32Array.from([0, 1, 2, 0, 1, 3]), 4);
    expect(reversed.reversedEdgeCount).toBe(1);
  });

  it('splits the tip that two cones share, and keeps the map back (manifold 481, pmp-library 9)', () => {
    const cones = Uint32Array.from([0, 1, 2, 0, 2, 3, 0, 3, 1, 0, 5, 4, 0, 6, 5, 0, 4, 6]);
    const split = splitNonManifold(cones, 7, buildMeshTopology(cones, 7));
    expect(split.splitCount).toBe(1);
    expect(split.sourceVertex[7]).toBe(0);
    const again = splitNonManifold(split.triangles, 8, buildMeshTopology(split.triangles, 8));
    expect(again.splitCount).toBe(0);
  });

  it('cuts an edge with four triangles so that none has more than two', () => {
    const book = Uint32Array.from([0, 1, 2, 1, 0, 3, 0, 1, 4, 1, 0, 5]);
    const split = splitNonManifold(book, 6, buildMeshTopology(book, 6));
    expect(buildMeshTopology(split.triangles, split.vertexCount).nonManifoldEdgeCount).toBe(0);
  });
});

describe('Hausdorff distance', () => {
  it('is 1 one way and 2 the other for {(0,0),(1,0)} and {(0,0),(3,0)}', () => {
    const a = Float32Array.from([0, 0, 0, 1, 0, 0]);
    const b = Float32Array.from([0, 0, 0, 3, 0, 0]);
    expect(hausdorffDistance(a, b)).toEqual({ fromAToB: 1, fromBToA: 2, symmetric: 2 });
  });
});
