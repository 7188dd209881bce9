import {
  buildSimulatedScene,
  cylinderContacts,
  makeRunContext,
  measureTargets,
  type PlacedTarget,
  probeFeatures,
  type ScanData,
  type Station,
  scaleCoordinates,
  thermalScale,
  type Vec3,
} from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';

/** A screen 400 mm wide at z = 0 that can be seen from both sides. */
function screen(): ScanData {
  return {
    origin: [0, 0, 0],
    positions: new Float32Array([-200, -200, 0, 200, -200, 0, 200, 200, 0, -200, 200, 0]),
    normals: null,
    colors: null,
    triangles: new Uint32Array([0, 1, 2, 0, 2, 3]),
    viewpoint: null,
  };
}

function station(position: Vec3, farRange = 1000): Station {
  return { position, direction: null, halfAngle: Math.PI, nearRange: 100, farRange };
}

const capture = { incidenceLimit: 0.9, sigma: 0.02, foundShare: 1 };

describe('measureTargets', () => {
  const front: PlacedTarget = { position: [0, 0, 0], normal: [0, 0, 1] };
  const back: PlacedTarget = { position: [50, 0, 0], normal: [0, 0, -1] };
  const behind: PlacedTarget = { position: [20, 10, -60], normal: [0, 0, 1] };
  const seenFrom = async (...stations: Station[]): Promise<number[]> => {
    const scene = buildSimulatedScene(screen());
    const seen = await measureTargets(scene, [front, back, behind], { ...capture, stations }, 't', makeRunContext());
    scene.dispose();
    return seen.map((m) => m.target);
  };

  it('sees a target only from its front, in reach, not too slanting, and not through the surface', async () => {
    expect(await seenFrom(station([0, 0, 500]))).toEqual([0]);
    expect(await seenFrom(station([0, 0, -500]))).toEqual([1]);
    expect(await seenFrom(station([0, 0, 500]), station([0, 0, -500]))).toEqual([0, 1]);
    expect(await seenFrom(station([0, 0, 500], 400))).toEqual([]);
    // 60 degrees from the normal; the limit is 0.9 rad = 52 degrees.
    expect(await seenFrom(station([433, 0, 250]))).toEqual([]);
    // A station beside the screen's edge sees behind it: 330 mm to the side, 300 above the hidden target.
    expect(await seenFrom(station([330, 0, 100]))).not.toContain(2);
    expect(await seenFrom(station([240, 10, 10], 400))).not.toContain(2);
  });

  it('scatters by sigma in each coordinate and finds the stated share', async () => {
    const scene = buildSimulatedScene(screen());
    const targets: PlacedTarget[] = Array.from({ length: 2000 }, (_, i) => ({
      position: [(i % 50) * 2 - 50, Math.floor(i / 50) * 2 - 40, 0],
      normal: [0, 0, 1],
    }));
    const options = { ...capture, foundShare: 0.9, stations: [station([0, 0, 500])] };
    const seen = await measureTargets(scene, targets, options, 't', makeRunContext({ seed: 2 }));
    scene.dispose();
    expect(Math.abs(seen.length - 1800)).toBeLessThan(4 * Math.sqrt(2000 * 0.9 * 0.1));
    for (const axis of [0, 1, 2]) {
      const squares = seen.reduce((s, m) => s + (m.position[axis] - targets[m.target].position[axis]) ** 2, 0);
      expect(Math.abs(Math.sqrt(squares / seen.length) / 0.02 - 1)).toBeLessThan(4 / Math.sqrt(2 * seen.length));
    }
  });
});

describe('probeFeatures', () => {
  it('gives centres one tip radius outside the surface, approached against its normal', () => {
    const contacts = cylinderContacts([10, 20, 30], [0, 0, 1], 15, [0, 40], 6);
    const exact = probeFeatures([{ name: 'pin', contacts }], { tipRadius: 2, sigma: 0 }, 'p', makeRunContext());
    expect(exact).toHaveLength(12);
    exact.forEach((p, i) => {
      expect(Math.hypot(p.position[0] - 10, p.position[1] - 20)).toBeCloseTo(17, 9);
      const against = p.approach as Vec3;
      const n = contacts[i].normal;
      expect(against[0] * n[0] + against[1] * n[1] + against[2] * n[2]).toBeLessThan(-0.95);
    });
  });
});

describe('thermalScale', () => {
  it('is 1 at 20 degrees (ISO 1) and grows by the coefficient', () => {
    expect(thermalScale(20, 23e-6)).toBe(1);
    // An aluminium bar of 1000 mm at 25 degrees: 1000 x 23e-6 x 5 = 0.115 mm longer.
    const moved = scaleCoordinates(new Float64Array([1100, 50, 7]), thermalScale(25, 23e-6), [100, 50, 7]);
    expect(moved[0]).toBeCloseTo(1100.115, 9);
    expect(moved[1]).toBe(50);
  });
});
