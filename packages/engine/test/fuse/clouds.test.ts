import { describe, expect, it } from 'vitest';
import { makeRandom } from '../../src/base/index.ts';
import { surfaceQuality } from '../../src/fuse/index.ts';
import type { ScanData } from '../../src/model/index.ts';
import { allVertices, flatScan, fuseNow, posed, sphereScan } from './test-shapes.ts';

/** Points spread at random over a ball, as a cloud. */
function ballCloud(radius: number, count: number, hasNormals: boolean): ScanData {
  const random = makeRandom(11, 'ball cloud');
  const positions = new Float32Array(3 * count);
  const normals = new Float32Array(3 * count);
  for (let i = 0; i < count; i++) {
    const v = [random.normal(), random.normal(), random.normal()];
    const length = Math.hypot(...v);
    v.forEach((value, axis) => {
      normals[3 * i + axis] = value / length;
      positions[3 * i + axis] = (radius * value) / length;
    });
  }
  return {
    origin: [0, 0, 0],
    positions,
    normals: hasNormals ? normals : null,
    colors: null,
    triangles: null,
    viewpoint: null,
  };
}

describe('clouds', () => {
  it('with normals give the surface that their points lie on', async () => {
    const surface = await fuseNow([posed('ball', ballCloud(20, 12_000, true), 0.02)]);
    const quality = surfaceQuality(surface, null);
    expect(quality.boundaryLoopCount).toBe(0);
    expect(quality.eulerNumber).toBe(2);
    for (const vertex of allVertices(surface)) expect(Math.abs(Math.hypot(...vertex) - 20)).toBeLessThan(0.05);
  });

  it('without normals are oriented by where the instrument stood', async () => {
    const patch = flatScan(16, 0, 0.4);
    const cloud = { ...patch, triangles: null };
    const surface = await fuseNow([
      { ...posed('cloud', cloud, 0.02), viewpoint: { kind: 'position', position: [0, 0, 500] } },
    ]);
    expect(surfaceQuality(surface, null).componentCount).toBe(1);
    for (let i = 2; i < surface.normals.length; i += 3) expect(surface.normals[i]).toBeGreaterThan(0.99);
    const below = await fuseNow([
      { ...posed('cloud', cloud, 0.02), viewpoint: { kind: 'direction', direction: [0, 0, -1] } },
    ]);
    for (let i = 2; i < below.normals.length; i += 3) expect(below.normals[i]).toBeLessThan(-0.99);
  });

  it('without normals and without a viewpoint are refused, and the rest is fused', async () => {
    const surface = await fuseNow([
      posed('cloud', ballCloud(20, 3000, false), 0.02),
      posed('mesh', sphereScan(10, 30), 0.02),
    ]);
    expect(surface.findings.find((finding) => finding.code === 'fuse/no-facing')?.subject).toBe('cloud');
    for (const vertex of allVertices(surface)) expect(Math.hypot(...vertex)).toBeLessThan(11);
  });

  it('a mesh wound the wrong way round for its viewpoint is turned, and that is said', async () => {
    const surface = await fuseNow([
      {
        ...posed('inside-out', flatScan(16, 0, 0.5, { isFlipped: true }), 0.02),
        viewpoint: { kind: 'position', position: [0, 0, 300] },
      },
    ]);
    for (let i = 2; i < surface.normals.length; i += 3) expect(surface.normals[i]).toBeGreaterThan(0.99);
    expect(surface.findings.some((finding) => finding.code === 'fuse/reversed')).toBe(true);
  });

  it('nothing to fuse is an error with a code', async () => {
    const empty: ScanData = {
      origin: [0, 0, 0],
      positions: new Float32Array(0),
      normals: null,
      colors: null,
      triangles: new Uint32Array(0),
      viewpoint: null,
    };
    await expect(fuseNow([])).rejects.toMatchObject({ code: 'fuse/nothing' });
    await expect(fuseNow([posed('empty', empty, 0.1)])).rejects.toMatchObject({ code: 'fuse/nothing' });
  });

  it('points that are no numbers are left out', async () => {
    const patch = flatScan(12, 0, 0.5);
    const positions = patch.positions.slice();
    positions[300] = Number.NaN;
    positions[601] = Number.POSITIVE_INFINITY;
    const surface = await fuseNow([posed('a', { ...patch, positions }, 0.02)]);
    expect(surface.positions.every(Number.isFinite)).toBe(true);
    expect(surfaceQuality(surface, null).componentCount).toBe(1);
  });
});
