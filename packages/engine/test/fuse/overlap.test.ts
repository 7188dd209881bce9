import { describe, expect, it } from 'vitest';
import { surfaceQuality } from '../../src/fuse/index.ts';
import { quaternionOfVector } from '../../src/math/index.ts';
import { allVertices, flatScan, fuseNow, gridScan, posed, withNoise } from './test-shapes.ts';

const wavy = gridScan({
  place: (u, v) => [(u - 0.5) * 40, (v - 0.5) * 40, 3 * Math.sin(6 * u) * Math.cos(5 * v)],
  columns: 80,
  rows: 80,
});

describe('several scans of one face', () => {
  for (const count of [2, 5]) {
    it(`${count} noisy scans, misaligned by up to a spacing, give one skin`, async () => {
      const scans = Array.from({ length: count }, (_, n) => {
        const along = n / (count - 1) - 0.5;
        return posed(`scan-${n}`, withNoise(wavy, 0.1, `overlap-${n}`), 0.1, {
          rotation: quaternionOfVector([0.002 * along, 0.001 * n, 0]),
          // Spacing of the points: 0.5 mm.
          translation: [0.2 * n, -0.1 * n, 0.45 * along],
        });
      });
      const surface = await fuseNow(scans);
      const quality = surfaceQuality(surface, scans);
      expect(quality.doubleSkinShare).toBeLessThanOrEqual(1e-4);
      expect(quality.componentCount).toBe(1);
      expect(quality.boundaryLoopCount).toBe(1);
      expect(quality.nonManifoldEdgeCount + quality.pinchedVertexCount + quality.reversedEdgeCount).toBe(0);
      expect(quality.unsupportedShare).toBe(0);
    });
  }

  it('is said when scans lie further apart than their uncertainties allow, and measured', async () => {
    const apart = (height: number) => [
      posed('low', flatScan(16, 0, 0.5), 0.02),
      posed('high', flatScan(16, height, 0.5), 0.02),
    ];
    const surface = await fuseNow(apart(0.4));
    expect(surface.findings.some((finding) => finding.code === 'fuse/sources-disagree')).toBe(true);
    // Equal shares: standard deviation between two sources 0.4 apart.
    expect(surface.disagreement[surface.disagreement.length >> 1]).toBeCloseTo(0.2, 3);
    const close = await fuseNow(apart(0.02));
    expect(close.findings.some((finding) => finding.code === 'fuse/sources-disagree')).toBe(false);
  });

  it('a second skin that is really there is found by the judgement', () => {
    const sheet = flatScan(10, 0, 0.5);
    const count = sheet.positions.length / 3;
    const positions = new Float32Array(6 * count);
    positions.set(sheet.positions);
    for (let i = 0; i < 3 * count; i++) positions[3 * count + i] = sheet.positions[i] + (i % 3 === 2 ? 0.4 : 0);
    const first = sheet.triangles as Uint32Array;
    const triangles = new Uint32Array(2 * first.length);
    triangles.set(first);
    triangles.set(
      first.map((v) => v + count),
      first.length,
    );
    const double = surfaceQuality({ origin: [0, 0, 0], positions, triangles, resolution: 0.5 }, null);
    expect(double.doubleSkinShare).toBeGreaterThan(0.99);
    // Turned round, the second sheet is the other skin of a wall: no fault.
    for (let t = first.length; t < triangles.length; t += 3) triangles.subarray(t, t + 3).reverse();
    const wall = surfaceQuality({ origin: [0, 0, 0], positions, triangles, resolution: 0.5 }, null);
    expect(wall.doubleSkinShare).toBe(0);
  });
});

describe('colour (PoissonRecon 312, 177)', () => {
  it('does not bleed from a green sheet into the red sheet 5 mm before it', async () => {
    for (const resolution of [1, 2, 3]) {
      const surface = await fuseNow(
        [
          posed('green', flatScan(24, 0, 1, { color: [0, 255, 0] }), 0.05),
          posed('red', flatScan(24, 5, 1, { color: [255, 0, 0] }), 0.05),
        ],
        { resolution },
      );
      const heights = allVertices(surface).map(([, , z]) => z);
      heights.forEach((z, i) => {
        const color = [...(surface.colors as Uint8Array).subarray(3 * i, 3 * i + 3)];
        expect(color).toEqual(z > 2.5 ? [255, 0, 0] : [0, 255, 0]);
        expect(Math.min(Math.abs(z), Math.abs(z - 5))).toBeLessThan(1e-3);
      });
      expect(surfaceQuality(surface, null).componentCount).toBe(2);
    }
  });

  it('does not bleed between the skins of a thin sheet, and marks what has none', async () => {
    const surface = await fuseNow(
      [
        posed('front', flatScan(16, 0.25, 0.5, { color: [255, 0, 0] }), 0.05),
        posed('back', flatScan(16, -0.25, 0.5, { isFlipped: true }), 0.05),
      ],
      { resolution: 0.5 },
    );
    for (let i = 0; i < surface.sigmaNoise.length; i++) {
      const isFront = surface.normals[3 * i + 2] > 0;
      expect(surface.colored?.[i]).toBe(isFront ? 1 : 0);
      if (isFront) expect(surface.colors?.[3 * i]).toBe(255);
      expect(surface.scanIds[surface.dominantSource[i]]).toBe(isFront ? 'front' : 'back');
    }
  });

  it('is null when no scan has any', async () => {
    expect((await fuseNow([posed('a', flatScan(10, 0, 0.5), 0.05)])).colors).toBeNull();
  });
});
