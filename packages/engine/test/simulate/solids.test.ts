import { makeRandom } from '@lapjoint/engine';
import { describe, expect, it } from 'vitest';
import { plate } from '../../src/simulate/solids/plate.ts';
import { bushing, pin } from '../../src/simulate/solids/revolve.ts';
import { roundedBox } from '../../src/simulate/solids/rounded-box.ts';
import type { SolidMesh, SolidShape } from '../../src/simulate/solids/solid-mesh.ts';
import { disc, roundedPolygon, roundedRectangle, withoutOutlines } from '../../src/simulate/solids/trimmed-grid.ts';
import { tube } from '../../src/simulate/solids/tube.ts';

/** Directed edges that are not matched by exactly one opposite. */
function openEdgeCount(mesh: SolidMesh): number {
  const balance = new Map<string, number>();
  let twice = 0;
  for (let k = 0; k < mesh.triangles.length; k += 3) {
    for (let e = 0; e < 3; e++) {
      const key = `${mesh.triangles[k + e]}>${mesh.triangles[k + ((e + 1) % 3)]}`;
      if (balance.has(key)) twice++;
      balance.set(key, 1);
    }
  }
  let open = 0;
  for (const key of balance.keys()) {
    const [a, b] = key.split('>');
    if (!balance.has(`${b}>${a}`)) open++;
  }
  return open + twice;
}

/** Volume by the divergence theorem. */
function volume(mesh: SolidMesh): number {
  const { positions: p, triangles: t } = mesh;
  let sum = 0;
  for (let k = 0; k < t.length; k += 3) {
    const [a, b, c] = [3 * t[k], 3 * t[k + 1], 3 * t[k + 2]];
    sum +=
      p[a] * (p[b + 1] * p[c + 2] - p[b + 2] * p[c + 1]) +
      p[a + 1] * (p[b + 2] * p[c] - p[b] * p[c + 2]) +
      p[a + 2] * (p[b] * p[c + 1] - p[b + 1] * p[c]);
  }
  return sum / 6;
}

/** Volume of a box with all edges rounded: core, six slabs, twelve quarter cylinders, one sphere. */
function roundedBoxVolume(x: number, y: number, z: number, r: number): number {
  const [a, b, c] = [x - 2 * r, y - 2 * r, z - 2 * r];
  return a * b * c + 2 * r * (a * b + b * c + c * a) + Math.PI * r * r * (a + b + c) + (4 / 3) * Math.PI * r ** 3;
}

const opening = { axis: 1, side: 1, low: [-120, 0, -60], high: [100, 0, 80], radius: 30 } as const;
const window = roundedRectangle(-120, 100, -60, 80, 30);
const openingArea = 220 * 140 - (4 - Math.PI) * 30 * 30;
const shapes: readonly (readonly [string, SolidShape, number])[] = [
  ['rounded box', roundedBox({ size: [300, 200, 100], radius: 20 }), roundedBoxVolume(300, 200, 100, 20)],
  [
    'hollow box with an opening',
    roundedBox({ size: [400, 300, 250], radius: 40, wall: 12, openings: [opening] }),
    roundedBoxVolume(400, 300, 250, 40) - roundedBoxVolume(376, 276, 226, 28) - 12 * openingArea,
  ],
  [
    'box with an opening through it',
    roundedBox({ size: [400, 60, 250], radius: 10, openings: [{ ...opening, side: 0 }] }),
    roundedBoxVolume(400, 60, 250, 10) - 60 * openingArea,
  ],
  [
    'plate with holes',
    plate({
      outline: withoutOutlines(window, disc(-30, 10, 25), disc(60, 20, 12)),
      low: [-140, -80],
      high: [120, 100],
      thickness: 8,
      cell: 10,
    }),
    8 * (openingArea - Math.PI * (25 * 25 + 12 * 12)),
  ],
  [
    'plate with three rounded corners',
    plate({
      outline: roundedPolygon(
        [
          [0, 0],
          [100, 0],
          [0, 60],
        ],
        20,
      ),
      low: [-30, -30],
      high: [130, 90],
      thickness: 5,
      cell: 18,
    }),
    5 * (3000 + 20 * (160 + Math.hypot(100, 60)) + Math.PI * 400),
  ],
  ['pin', pin(20, 80, 2), Math.PI * (400 * 76 + (2 * 2 * (400 + 20 * 18 + 324)) / 3)],
  ['bushing', bushing(10, 18, 30), Math.PI * ((18 * 18 - 100) * 30) - bushingChamfers(10, 18, 1)],
  [
    'bent tube',
    tube({
      path: [
        [0, 0, 0],
        [200, 0, 0],
        [200, 300, 0],
        [200, 300, 150],
      ],
      radius: 15,
      bendRadius: 60,
    }),
    Math.PI * 225 * (650 - 2 * (120 - 30 * Math.PI)),
  ],
  [
    'closed tube',
    tube({
      path: [
        [0, 0, 0],
        [200, 0, 0],
        [200, 300, 0],
        [0, 300, 0],
      ],
      radius: 15,
      bendRadius: 60,
      closed: true,
    }),
    Math.PI * 225 * (1000 - 4 * (120 - 30 * Math.PI)),
  ],
];

/** Volume of four chamfers of size c at the edges of a ring (Pappus). */
function bushingChamfers(inner: number, outer: number, c: number): number {
  const area = (c * c) / 2;
  return 2 * Math.PI * 2 * area * (inner + c / 3 + (outer - c / 3));
}

describe.each(shapes)('%s', (_name, shape, exactVolume) => {
  it('is closed at any fineness and has the volume of the exact shape', () => {
    for (const [spacing, chord, jitter] of [
      [60, 0.02, false],
      [9, 0.05, true],
      [23, 0.5, true],
    ] as const) {
      const mesh = shape({ spacing, chord, jitter: jitter ? makeRandom(4, 'solids') : null });
      expect(openEdgeCount(mesh)).toBe(0);
      // Chords cut off at most the surface's area times the chord.
      expect(Math.abs(volume(mesh) / exactVolume - 1)).toBeLessThan(chord * 0.25 + 0.002);
    }
  });
});
