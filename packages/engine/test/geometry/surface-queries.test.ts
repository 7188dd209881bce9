import { BufferAttribute, BufferGeometry, DoubleSide, Ray, Vector3 } from 'three';
import { MeshBVH } from 'three-mesh-bvh';
import { describe, expect, it } from 'vitest';
import { buildTriangleIndex, closestPointOnTriangle } from '../../src/geometry/index.ts';
import type { Vec3 } from '../../src/math/index.ts';
import { pseudoRandom } from './pseudo-random.ts';

interface Mesh {
  readonly positions: Float32Array;
  readonly triangles: Uint32Array;
}

function wavySheet(n: number, amplitude: number): Mesh {
  const positions: number[] = [];
  const triangles: number[] = [];
  for (let i = 0; i <= n; i++) {
    for (let j = 0; j <= n; j++) {
      const [x, y] = [(2 * i) / n - 1, (2 * j) / n - 1];
      positions.push(x, y, amplitude * Math.sin(5 * x) * Math.cos(4 * y));
      if (i < n && j < n) {
        const a = i * (n + 1) + j;
        triangles.push(a, a + n + 1, a + 1, a + 1, a + n + 1, a + n + 2);
      }
    }
  }
  return { positions: Float32Array.from(positions), triangles: Uint32Array.from(triangles) };
}

function triangleSoup(count: number, size: number): Mesh {
  const random = pseudoRandom(count);
  const positions = new Float32Array(9 * count);
  for (let t = 0; t < count; t++) {
    const centre = [random(), random(), random()].map((v) => 2 * v - 1);
    for (let i = 0; i < 9; i++) positions[9 * t + i] = centre[i % 3] + size * (random() - 0.5);
  }
  return { positions, triangles: Uint32Array.from({ length: 3 * count }, (_, i) => i) };
}

const meshes: Record<string, Mesh> = {
  'a wavy sheet': wavySheet(50, 0.3),
  'a flat sheet': wavySheet(20, 0),
  'a soup of small triangles': triangleSoup(2000, 0.1),
  'a soup of large triangles': triangleSoup(300, 2),
  'one triangle': triangleSoup(1, 1),
};

describe.each(Object.entries(meshes))('surface queries against the library three-mesh-bvh: %s', (_, mesh) => {
  const geometry = new BufferGeometry();
  geometry.setAttribute('position', new BufferAttribute(mesh.positions, 3));
  geometry.setIndex(new BufferAttribute(mesh.triangles, 1));
  const library = new MeshBVH(geometry, { indirect: true });
  const index = buildTriangleIndex(mesh.positions, mesh.triangles);
  const random = pseudoRandom(5);
  const n = 400;
  const queries = Float32Array.from({ length: 3 * n }, () => 3 * random() - 1.5);

  it('closest points are equally near and lie on the named triangle', () => {
    const triangle = new Int32Array(n);
    const point = new Float32Array(3 * n);
    const squared = new Float32Array(n);
    index.closestPoints(queries, Infinity, triangle, point, squared);
    for (let i = 0; i < n; i++) {
      const query: Vec3 = [queries[3 * i], queries[3 * i + 1], queries[3 * i + 2]];
      const expected = library.closestPointToPoint(new Vector3(...query))?.distance ?? Number.NaN;
      expect(Math.sqrt(squared[i])).toBeCloseTo(expected, 6);
      const corner = (c: number): Vec3 => {
        const v = 3 * mesh.triangles[3 * triangle[i] + c];
        return [mesh.positions[v], mesh.positions[v + 1], mesh.positions[v + 2]];
      };
      const own = closestPointOnTriangle(query, corner(0), corner(1), corner(2));
      expect(Math.fround(own.distanceSquared)).toBe(squared[i]);
      for (let axis = 0; axis < 3; axis++) expect(point[3 * i + axis]).toBeCloseTo(own.point[axis], 6);
    }
  });

  it('first hits are at the same distance', () => {
    // Every other ray is aimed at a point of the mesh.
    const directions = Float32Array.from({ length: 3 * n }, (_, i) => {
      const vertex = mesh.triangles[(3 * Math.floor(i / 3)) % mesh.triangles.length];
      return i % 6 < 3 ? random() - 0.5 : mesh.positions[3 * vertex + (i % 3)] - queries[i] + 0.02 * (random() - 0.5);
    });
    const triangle = new Int32Array(n);
    const distance = new Float32Array(n);
    index.castRays(queries, directions, Infinity, triangle, distance);
    let hits = 0;
    for (let i = 0; i < n; i++) {
      const origin = new Vector3(queries[3 * i], queries[3 * i + 1], queries[3 * i + 2]);
      const direction = new Vector3(directions[3 * i], directions[3 * i + 1], directions[3 * i + 2]);
      const length = direction.length();
      const hit = library.raycastFirst(new Ray(origin, direction.normalize()), DoubleSide);
      if (hit) {
        hits++;
        expect(distance[i] * length).toBeCloseTo(hit.distance, 5);
      } else expect(triangle[i]).toBe(-1);
    }
    expect(hits).toBeGreaterThan(0);
  });
});

describe('rays', () => {
  it('never slip between the triangles of a closed surface', () => {
    // From inside an octahedron through its edges and corners, where two or four triangles meet.
    const positions = Float32Array.of(1, 0, 0, -1, 0, 0, 0, 1, 0, 0, -1, 0, 0, 0, 1, 0, 0, -1);
    const triangles = Uint32Array.of(0, 2, 4, 2, 1, 4, 1, 3, 4, 3, 0, 4, 2, 0, 5, 1, 2, 5, 3, 1, 5, 0, 3, 5);
    const index = buildTriangleIndex(positions, triangles);
    const directions: number[] = [];
    for (let x = -2; x <= 2; x++)
      for (let y = -2; y <= 2; y++) for (let z = -2; z <= 2; z++) if (x || y || z) directions.push(x, y, z);
    const n = directions.length / 3;
    const triangle = new Int32Array(n);
    const distance = new Float32Array(n);
    index.castRays(new Float32Array(3 * n), Float32Array.from(directions), Infinity, triangle, distance);
    for (let i = 0; i < n; i++) {
      const sum = Math.abs(directions[3 * i]) + Math.abs(directions[3 * i + 1]) + Math.abs(directions[3 * i + 2]);
      expect(distance[i]).toBeCloseTo(1 / sum, 6);
    }
  });
});
