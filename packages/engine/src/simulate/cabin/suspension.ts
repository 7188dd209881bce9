import type { Vec3 } from '../../math/index.ts';
import type { ModelSolid } from '../model-solid.ts';
import type { SurfaceMaterial } from '../scene.ts';
import { plate } from '../solids/plate.ts';
import { bushing, pin } from '../solids/revolve.ts';
import { roundedBox } from '../solids/rounded-box.ts';
import type { SolidShape } from '../solids/solid-mesh.ts';
import { disc, roundedPolygon, withoutOutlines } from '../solids/trimmed-grid.ts';
import { tube } from '../solids/tube.ts';
import {
  CABIN_MATERIALS as M,
  poseAt,
  solid,
  UPRIGHT_ALONG_X,
  UPRIGHT_ALONG_Y,
  Z_TO_X,
  Z_TO_Y,
} from './cabin-materials.ts';

function part(
  name: string,
  made: SurfaceMaterial,
  shape: SolidShape,
  translation: Vec3 = [0, 0, 0],
  rotation: Vec3 = [0, 0, 0],
): ModelSolid {
  return solid('suspension', name, made, shape, poseAt(translation, rotation));
}

/** Height of the pin that carries the cabin, mm. */
export const SUSPENSION_PIN_HEIGHT = 1600;

/** Foot with two cheeks, the main pin with its bushings, and the eye of the arm. */
function foot(): ModelSolid[] {
  const cheek = plate({
    outline: withoutOutlines(
      roundedPolygon(
        [
          [-160, 20],
          [160, 20],
          [48, 270],
          [-48, 270],
        ],
        36,
      ),
      disc(0, 95, 46),
    ),
    low: [-215, -35],
    high: [215, 325],
    thickness: 30,
    cell: 30,
  });
  const z = SUSPENSION_PIN_HEIGHT;
  return [
    part('foot plate', M.cast, roundedBox({ size: [480, 330, 44], radius: 12 }), [0, 0, 1335]),
    part('cheek', M.cast, cheek, [0, -80, 1350], UPRIGHT_ALONG_X),
    part('cheek', M.cast, cheek, [0, 110, 1350], UPRIGHT_ALONG_X),
    part('suspension pin', M.brightSteel, pin(32, 320, 3), [0, -160, z], Z_TO_Y),
    part('pin head', M.steel, pin(48, 18, 3), [0, -178, z], Z_TO_Y),
    part('pin head', M.steel, pin(48, 18, 3), [0, 158, z], Z_TO_Y),
    part('pin bushing', M.steel, bushing(31, 60, 15), [0, 109, z], Z_TO_Y),
    part('pin bushing', M.steel, bushing(31, 60, 15), [0, -124, z], Z_TO_Y),
    part('arm eye', M.cast, bushing(31, 84, 120), [0, -60, z], Z_TO_Y),
    ...[
      [-190, -120],
      [190, -120],
      [-190, 120],
      [190, 120],
    ].map(([x, y]) => part('foot screw', M.brightSteel, pin(19, 40, 3), [x, y, 1350])),
  ];
}

/** The arm, bent out of the rope's way, with its stiffening plates. */
function arm(): ModelSolid[] {
  const gusset = (
    corners: readonly (readonly [number, number])[],
    holes: readonly [number, number, number][],
  ): SolidShape =>
    plate({
      outline: withoutOutlines(roundedPolygon(corners, 18), ...holes.map(([y, z, r]) => disc(y, z, r))),
      low: [Math.min(...corners.map((c) => c[0])) - 35, Math.min(...corners.map((c) => c[1])) - 35],
      high: [Math.max(...corners.map((c) => c[0])) + 35, Math.max(...corners.map((c) => c[1])) + 35],
      thickness: 18,
      cell: 16,
    });
  return [
    part(
      'arm',
      M.signal,
      tube({
        path: [
          [0, 0, 1630],
          [0, 0, 1880],
          [0, 330, 2180],
          [0, 330, 2440],
          [0, 80, 2660],
          [0, 80, 2770],
        ],
        radius: 54,
        bendRadius: 140,
      }),
    ),
    part(
      'gusset',
      M.signal,
      gusset(
        [
          [30, 1730],
          [130, 1830],
          [300, 2010],
          [330, 2160],
          [20, 1880],
        ],
        [[215, 2005, 26]],
      ),
      [-9, 0, 0],
      UPRIGHT_ALONG_Y,
    ),
    part(
      'gusset',
      M.signal,
      gusset(
        [
          [100, 2560],
          [330, 2280],
          [310, 2440],
          [90, 2660],
        ],
        [],
      ),
      [-9, -40, -30],
      UPRIGHT_ALONG_Y,
    ),
    part('arm collar', M.cast, bushing(52, 74, 46), [0, 330, 2270]),
    part('type plate', M.brightSteel, roundedBox({ size: [110, 8, 70], radius: 3 }), [0, 388, 2390]),
  ];
}

/** The grip: body, two jaws, springs, lever with roller, pins. */
function grip(): ModelSolid[] {
  const lever = plate({
    outline: withoutOutlines(
      roundedPolygon(
        [
          [150, 2790],
          [420, 2700],
          [430, 2735],
          [170, 2860],
        ],
        22,
      ),
      disc(285, 2772, 17),
    ),
    low: [115, 2665],
    high: [465, 2895],
    thickness: 22,
    cell: 14,
  });
  return [
    part('grip body', M.cast, roundedBox({ size: [430, 190, 150], radius: 22 }), [0, 80, 2800]),
    part('fixed jaw', M.cast, roundedBox({ size: [390, 62, 120], radius: 15 }), [0, 14, 2905]),
    part('moving jaw', M.steel, roundedBox({ size: [300, 58, 110], radius: 15 }), [25, 142, 2900]),
    part('spring housing', M.steel, pin(44, 170, 6), [205, 110, 2800], Z_TO_X),
    part('spring housing', M.steel, pin(44, 120, 6), [-325, 110, 2800], Z_TO_X),
    part('spring cap', M.brightSteel, pin(26, 40, 4), [372, 110, 2800], Z_TO_X),
    part('lever', M.steel, lever, [160, 0, 0], UPRIGHT_ALONG_Y),
    part('roller', M.brightSteel, pin(46, 40, 4), [186, 425, 2718], Z_TO_X),
    part('roller axle', M.steel, pin(14, 96, 3), [146, 425, 2718], Z_TO_X),
    part('grip pin', M.brightSteel, pin(18, 260, 2), [-120, -50, 2830], Z_TO_Y),
    part('grip pin', M.brightSteel, pin(18, 260, 2), [120, -50, 2830], Z_TO_Y),
    part(
      'guide horn',
      M.steel,
      tube({
        path: [
          [-180, 14, 2920],
          [-260, 14, 2960],
          [-330, 14, 3060],
        ],
        radius: 16,
        bendRadius: 60,
      }),
    ),
  ];
}

/** Foot, arm and grip above the roof. */
export function suspension(): ModelSolid[] {
  return [...foot(), ...arm(), ...grip()];
}
