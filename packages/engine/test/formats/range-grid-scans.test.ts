import { readFileSync } from 'node:fs';
import { describe, expect, it } from 'vitest';
import { sharedPath } from '../../../../tests/shared-data.ts';
import { bytesInMemory, type RawScan, readScanFile } from '../../src/formats/index.ts';
import { buildTriangleIndex } from '../../src/geometry/index.ts';
import { quietContext } from './sample-files.ts';

const folder = sharedPath('data/stanford-bunny-scans');

async function read(name: string): Promise<RawScan> {
  return readScanFile(bytesInMemory(name, readFileSync(`${folder}/${name}`)), {}, quietContext());
}

/** Published pose: rotation is the transpose of that of the quaternion (x, y, z, w), see the data's SOURCE.md. */
function posed(positions: ArrayLike<number>, pose: readonly number[]): Float32Array {
  const [tx, ty, tz, x, y, z, w] = pose;
  const r = [
    [1 - 2 * (y * y + z * z), 2 * (x * y + z * w), 2 * (x * z - y * w)],
    [2 * (x * y - z * w), 1 - 2 * (x * x + z * z), 2 * (y * z + x * w)],
    [2 * (x * z + y * w), 2 * (y * z - x * w), 1 - 2 * (x * x + y * y)],
  ];
  const t = [tx, ty, tz];
  return Float32Array.from({ length: positions.length }, (_, i) => {
    const k = i % 3;
    const p = i - k;
    return 1000 * (r[k][0] * positions[p] + r[k][1] * positions[p + 1] + r[k][2] * positions[p + 2] + t[k]);
  });
}

describe.skipIf(folder === null)('triangles of the published range scans against the published fused mesh', () => {
  it('lie on it, and face the same way', async () => {
    const fused = await read('recon_bun_zipper.ply');
    const surface = Float32Array.from(fused.positions, (value) => 1000 * value);
    const fusedTriangles = fused.triangles as Uint32Array;
    const index = buildTriangleIndex(surface, fusedTriangles);
    const poses = readFileSync(`${folder}/bun.conf`, 'utf8').matchAll(/^bmesh (\S+) (.*)$/gm);
    for (const [, name, numbers] of poses) {
      if (!['bun045.ply', 'chin.ply', 'ear_back.ply', 'top3.ply'].includes(name)) continue;
      const scan = await read(name);
      const points = posed(scan.positions, numbers.trim().split(/\s+/).map(Number));
      const triangles = scan.triangles as Uint32Array;
      const count = triangles.length / 3;
      const centres = new Float32Array(3 * count);
      for (let i = 0; i < centres.length; i++) {
        const corner = 3 * Math.floor(i / 3);
        centres[i] = [0, 1, 2].reduce((sum, k) => sum + points[3 * triangles[corner + k] + (i % 3)] / 3, 0);
      }
      const nearest = new Int32Array(count);
      const squares = new Float32Array(count);
      index.closestPoints(centres, 50, nearest, new Float32Array(3 * count), squares);
      const distances = squares.map(Math.sqrt).sort();
      // The scans' own points lie within 0.7 mm (99 %) and 1.2 mm (99.9 %) of the mesh; bridges would lie far off.
      expect(distances[Math.floor(0.99 * count)]).toBeLessThan(0.7);
      expect(distances[Math.floor(0.999 * count)]).toBeLessThan(1.2);
      let agreeing = 0;
      for (let i = 0; i < count; i++) {
        const a = normal(points, triangles, i);
        const b = normal(surface, fusedTriangles, nearest[i]);
        if (a[0] * b[0] + a[1] * b[1] + a[2] * b[2] > 0) agreeing++;
      }
      expect(agreeing / count).toBeGreaterThan(0.995);
    }
    index.dispose();
  });
});

function normal(positions: Float32Array, triangles: Uint32Array, triangle: number): number[] {
  const [a, b, c] = [0, 1, 2].map((k) => 3 * triangles[3 * triangle + k]);
  const u = [0, 1, 2].map((k) => positions[b + k] - positions[a + k]);
  const v = [0, 1, 2].map((k) => positions[c + k] - positions[a + k]);
  return [u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]];
}
