import type { Vec3 } from '../../math/index.ts';
import type { ModelSolid } from '../model-solid.ts';
import { plate } from '../solids/plate.ts';
import { bushing, revolve } from '../solids/revolve.ts';
import { roundedBox } from '../solids/rounded-box.ts';
import type { SolidShape } from '../solids/solid-mesh.ts';
import { disc, roundedPolygon, withoutOutlines } from '../solids/trimmed-grid.ts';
import { tube } from '../solids/tube.ts';
import { CABIN_MATERIALS as M, poseAt, solid, UPRIGHT_ALONG_X } from './cabin-materials.ts';

function inside(
  name: string,
  made: ModelSolid['material'],
  shape: SolidShape,
  translation: Vec3 = [0, 0, 0],
  rotation: Vec3 = [0, 0, 0],
): ModelSolid {
  return solid('interior', name, made, shape, poseAt(translation, rotation));
}

/** Bench across the far end, on three pierced supports. */
function endBench(): ModelSolid[] {
  const support = plate({
    outline: withoutOutlines(
      roundedPolygon(
        [
          [-190, 20],
          [170, 20],
          [170, 370],
          [-150, 370],
        ],
        20,
      ),
      disc(10, 195, 85),
    ),
    low: [-230, -15],
    high: [205, 405],
    thickness: 18,
    cell: 20,
  });
  return [
    inside('end bench', M.wood, roundedBox({ size: [460, 1400, 56], radius: 22 }), [1345, 130, -640]),
    inside(
      'end bench back',
      M.wood,
      roundedBox({ size: [46, 1400, 440], radius: 19 }),
      [1520, 130, -370],
      [0, 0.12, 0],
    ),
    ...[-480, 140, 745].map((y) => inside('end bench support', M.steel, support, [1345, y, -1060], UPRIGHT_ALONG_X)),
  ];
}

/** Bench along the wall opposite the door, on tubes, with slats at its back. */
function wallBench(): ModelSolid[] {
  return [
    inside('wall bench', M.wood, roundedBox({ size: [1500, 400, 56], radius: 22 }), [-450, 785, -640]),
    ...[-500, -370, -240].map((z) =>
      inside('wall bench slat', M.wood, roundedBox({ size: [1500, 26, 96], radius: 11 }), [-450, 946, z]),
    ),
    ...[-1080, -450, 190].map((x) =>
      inside(
        'wall bench foot',
        M.steel,
        tube({
          path: [
            [x, 960, -690],
            [x, 640, -690],
            [x, 640, -1075],
          ],
          radius: 20,
          bendRadius: 90,
        }),
      ),
    ),
    inside('tool box', M.signal, roundedBox({ size: [420, 280, 250], radius: 18 }), [-130, 800, -935]),
  ];
}

function handrails(): ModelSolid[] {
  const rail = (name: string, path: readonly Vec3[], radius: number, bendRadius: number): ModelSolid =>
    inside(name, M.brightSteel, tube({ path, radius, bendRadius }));
  return [
    rail(
      'pole',
      [
        [-430, -620, -1075],
        [-430, -620, 1185],
      ],
      19,
      50,
    ),
    inside('pole foot', M.steel, bushing(19, 52, 14), [-430, -620, -1056]),
    inside('pole top', M.steel, bushing(19, 52, 14), [-430, -620, 1158]),
    rail(
      'ceiling rail',
      [
        [-950, -160, 1185],
        [-950, -160, 1010],
        [1120, -160, 1010],
        [1120, -160, 1185],
      ],
      17,
      85,
    ),
    rail(
      'window rail',
      [
        [-300, -980, -130],
        [-300, -900, -130],
        [440, -900, -130],
        [440, -980, -130],
      ],
      15,
      45,
    ),
    rail(
      'entrance rail',
      [
        [-480, -980, -520],
        [-480, -895, -520],
        [-480, -895, 420],
        [-480, -980, 420],
      ],
      15,
      45,
    ),
  ];
}

/** Everything fixed inside the cabin. No two ends are alike. */
export function cabinInterior(): ModelSolid[] {
  return [
    ...endBench(),
    ...wallBench(),
    ...handrails(),
    inside('locker', M.liner, roundedBox({ size: [320, 380, 900], radius: 28 }), [1425, -795, -610]),
    inside(
      'locker knob',
      M.steel,
      revolve([
        [0, 0],
        [14, 0],
        [14, 26],
        [24, 34],
        [24, 46],
        [0, 46],
      ]),
      [1275, -700, -560],
      [0, -Math.PI / 2, 0],
    ),
    inside('call box', M.steel, roundedBox({ size: [130, 56, 200], radius: 11 }), [525, -950, 270]),
    inside(
      'extinguisher',
      M.signal,
      revolve([
        [0, 0],
        [66, 0],
        [70, 6],
        [70, 340],
        [52, 384],
        [22, 402],
        [22, 440],
        [0, 440],
      ]),
      [-1455, 800, -1056],
    ),
    inside('lamp', M.liner, roundedBox({ size: [620, 90, 42], radius: 15 }), [-520, 330, 1158]),
    inside('lamp', M.liner, roundedBox({ size: [380, 90, 42], radius: 15 }), [700, 330, 1158]),
    inside('notice', M.paint, roundedBox({ size: [270, 14, 430], radius: 6 }), [-50, 966, 330]),
    inside('heater', M.steel, roundedBox({ size: [700, 90, 240], radius: 20 }), [880, 930, -880]),
  ];
}
