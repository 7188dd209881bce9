import type { Vec3 } from '../../math/index.ts';
import type { ModelSolid, Rgb } from '../model-solid.ts';
import { plate } from '../solids/plate.ts';
import { type BoxOpening, roundedBox } from '../solids/rounded-box.ts';
import { roundedRectangle, withoutOutlines } from '../solids/trimmed-grid.ts';
import { tube } from '../solids/tube.ts';
import { CABIN_MATERIALS as M, poseAt, solid, UPRIGHT_ALONG_X } from './cabin-materials.ts';

/** Outer size of the shell, mm; its middle is the model's origin, x along the cabin, z up, the door towards -y near -x. */
const CABIN_SIZE: Vec3 = [3200, 2000, 2400];
const WALL = 30;
const EDGE = 130;

/** The opening of the door. */
const DOOR_OPENING: BoxOpening = {
  axis: 1,
  side: -1,
  low: [-1400, 0, -1050],
  high: [-560, 0, 900],
  radius: 80,
};

const WINDOWS: readonly BoxOpening[] = [
  { axis: 1, side: 1, low: [-1350, 0, -20], high: [-250, 0, 740], radius: 90 },
  { axis: 1, side: 1, low: [150, 0, -20], high: [1350, 0, 740], radius: 90 },
  { axis: 1, side: -1, low: [-330, 0, -20], high: [430, 0, 740], radius: 90 },
  { axis: 1, side: -1, low: [620, 0, 120], high: [1350, 0, 740], radius: 70 },
  { axis: 0, side: -1, low: [0, -640, -20], high: [0, 640, 740], radius: 90 },
  { axis: 0, side: 1, low: [0, -560, 180], high: [0, 640, 740], radius: 90 },
];

function shellPaint(x: number, y: number, z: number): Rgb {
  const inside =
    Math.abs(x) < CABIN_SIZE[0] / 2 - WALL / 2 &&
    Math.abs(y) < CABIN_SIZE[1] / 2 - WALL / 2 &&
    Math.abs(z) < CABIN_SIZE[2] / 2 - WALL / 2;
  if (inside) return z > 900 ? [236, 236, 232] : M.liner.color;
  const wave = -260 + 0.09 * x;
  if (z < wave) return [44, 104, 112];
  return z < wave + 60 ? [214, 164, 60] : M.paint.color;
}

/** Pane and outer seal of a window. */
function windowParts(opening: BoxOpening, k: number): ModelSolid[] {
  const { axis, side } = opening;
  const outer = (side * CABIN_SIZE[axis]) / 2;
  const middle = [0, 1, 2].map((i) =>
    i === axis ? outer - (side * WALL) / 2 : (opening.low[i] + opening.high[i]) / 2,
  );
  const size = [0, 1, 2].map((i) => (i === axis ? 8 : opening.high[i] - opening.low[i] + 16));
  const across = axis === 0 ? 1 : 0;
  const corner = (a: number, z: number): Vec3 => {
    const p: [number, number, number] = [0, 0, z];
    p[across] = a;
    p[axis] = outer;
    return p;
  };
  const [a0, a1] = [opening.low[across], opening.high[across]];
  const [z0, z1] = [opening.low[2], opening.high[2]];
  return [
    solid(
      'body',
      `pane ${k}`,
      M.glass,
      roundedBox({ size: [size[0], size[1], size[2]], radius: 3 }),
      poseAt([middle[0], middle[1], middle[2]]),
    ),
    solid(
      'body',
      `window seal ${k}`,
      M.rubber,
      tube({
        path: [corner(a0, z0), corner(a1, z0), corner(a1, z1), corner(a0, z1)],
        radius: 13,
        bendRadius: opening.radius,
        closed: true,
      }),
    ),
  ];
}

/** Ribs along x, 2.5 mm high and 36 mm wide, fading towards the ends of the mat. */
function ribbedMat(): ModelSolid {
  const pitch = 65;
  const width = 36;
  const count = 11;
  const reach = 1390;
  const fade = 70;
  const curvature = 1.25 * ((2 * Math.PI) / width) ** 2;
  const height = (x: number, y: number): number => {
    const k = Math.round(y / pitch);
    const across = y - k * pitch;
    if (Math.abs(k) > count || Math.abs(across) > width / 2) return 0;
    const s = Math.max(0, Math.min(1, (reach - Math.abs(x)) / fade));
    return 1.25 * (1 + Math.cos((2 * Math.PI * across) / width)) * s * s * (3 - 2 * s);
  };
  const ribs = Array.from({ length: 2 * count + 1 }, (_, i) => (i - count) * pitch);
  return solid(
    'interior',
    'ribbed mat',
    M.rubber,
    roundedBox({
      size: [2900, 1700, 12],
      radius: 5,
      relief: {
        height,
        x: [-1, 1].map((s) => ({
          from: Math.min(s * reach, s * (reach - fade)),
          to: Math.max(s * reach, s * (reach - fade)),
          radius: (fade * fade) / 15,
        })),
        y: ribs.map((c) => ({ from: c - width / 2, to: c + width / 2, radius: 1 / curvature })),
      },
    }),
    poseAt([0, 0, -1060]),
  );
}

/** Shell, windows, floor and what is fixed to the outside below the roof. */
export function cabinBody(): ModelSolid[] {
  const [x0, z0] = [DOOR_OPENING.low[0], DOOR_OPENING.low[2]];
  const [x1, z1] = [DOOR_OPENING.high[0], DOOR_OPENING.high[2]];
  const [hx, hy] = [CABIN_SIZE[0] / 2 + 22, CABIN_SIZE[1] / 2 + 22];
  return [
    solid(
      'body',
      'shell',
      M.paint,
      roundedBox({ size: CABIN_SIZE, radius: EDGE, wall: WALL, openings: [...WINDOWS, DOOR_OPENING] }),
      undefined,
      shellPaint,
    ),
    ...WINDOWS.flatMap(windowParts),
    solid(
      'interior',
      'floor',
      M.steel,
      plate({
        outline: roundedRectangle(-1585, 1585, -985, 985, 110),
        low: [-1600, -1000],
        high: [1600, 1000],
        thickness: 110,
        cell: 100,
      }),
      poseAt([0, 0, -1175]),
    ),
    ribbedMat(),
    solid(
      'body',
      'door surround',
      M.steel,
      plate({
        outline: withoutOutlines(
          roundedRectangle(x0 - 48, x1 + 48, z0 - 48, z1 + 48, 120),
          roundedRectangle(x0 + 0.5, x1 - 0.5, z0 + 0.5, z1 - 0.5, 80),
        ),
        low: [x0 - 70, z0 - 70],
        high: [x1 + 70, z1 + 70],
        thickness: 9,
        cell: 24,
      }),
      poseAt([0, -999, 0], UPRIGHT_ALONG_X),
    ),
    solid('body', 'step', M.steel, roundedBox({ size: [900, 190, 34], radius: 12 }), poseAt([-980, -1085, -1125])),
    solid(
      'body',
      'bumper rail',
      M.rubber,
      tube({
        path: [
          [-490, -hy, -830],
          [hx, -hy, -830],
          [hx, hy, -830],
          [-hx, hy, -830],
          [-hx, -hy, -830],
          [-1470, -hy, -830],
        ],
        radius: 34,
        bendRadius: 140,
      }),
    ),
    solid('body', 'carrier', M.steel, roundedBox({ size: [620, 130, 44], radius: 12 }), poseAt([820, 1060, -420])),
    solid('body', 'carrier', M.steel, roundedBox({ size: [620, 130, 44], radius: 12 }), poseAt([820, 1060, -180])),
    solid('body', 'number plate', M.signal, roundedBox({ size: [360, 12, 150], radius: 5 }), poseAt([60, -1004, -480])),
    solid(
      'body',
      'vent',
      M.liner,
      plate({
        outline: withoutOutlines(
          roundedRectangle(-210, 210, -110, 110, 30),
          ...[-66, -22, 22, 66].map((z) => roundedRectangle(-170, 170, z - 11, z + 11, 10.9)),
        ),
        low: [-225, -125],
        high: [225, 125],
        thickness: 14,
        cell: 9,
      }),
      poseAt([1114, -998, -560], UPRIGHT_ALONG_X),
    ),
  ];
}
