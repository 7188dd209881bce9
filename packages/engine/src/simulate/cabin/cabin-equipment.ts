import type { Vec3 } from '../../math/index.ts';
import type { ModelSolid } from '../model-solid.ts';
import type { SurfaceMaterial } from '../scene.ts';
import { plate } from '../solids/plate.ts';
import { pin, revolve } from '../solids/revolve.ts';
import { roundedBox } from '../solids/rounded-box.ts';
import type { SolidShape } from '../solids/solid-mesh.ts';
import { disc, roundedPolygon, withoutOutlines } from '../solids/trimmed-grid.ts';
import { tube } from '../solids/tube.ts';
import { CABIN_MATERIALS as M, poseAt, solid, UPRIGHT_ALONG_Y, Z_TO_X } from './cabin-materials.ts';

function made(
  name: string,
  material: SurfaceMaterial,
  shape: SolidShape,
  translation: Vec3 = [0, 0, 0],
  rotation: Vec3 = [0, 0, 0],
): ModelSolid {
  return solid('interior', name, material, shape, poseAt(translation, rotation));
}

/** The attendant's desk beside the door: sloping panel, screen, lever. */
function attendantDesk(): ModelSolid[] {
  return [
    made('desk', M.liner, roundedBox({ size: [400, 560, 720], radius: 45 }), [-1385, -320, -700]),
    made('desk panel', M.steel, roundedBox({ size: [420, 520, 64], radius: 22 }), [-1360, -320, -315], [0, 0.32, 0]),
    made('screen', M.rubber, roundedBox({ size: [54, 330, 230], radius: 18 }), [-1490, -350, -120], [0, -0.2, 0.25]),
    made(
      'desk lever',
      M.signal,
      tube({
        path: [
          [-1290, -170, -330],
          [-1270, -170, -210],
          [-1190, -170, -150],
        ],
        radius: 13,
        bendRadius: 40,
      }),
    ),
    made('desk lamp', M.signal, pin(46, 90, 10), [-1330, -480, -310], [0, 0.32, 0]),
  ];
}

/** The winch for lowering people, on the floor near the door: drum between two cheeks, gear, crank. */
function rescueWinch(): ModelSolid[] {
  const cheek = plate({
    outline: withoutOutlines(
      roundedPolygon(
        [
          [-140, -1020],
          [140, -1020],
          [60, -800],
          [-60, -800],
        ],
        40,
      ),
      disc(0, -960, 32),
    ),
    low: [-195, -1075],
    high: [195, -745],
    thickness: 20,
    cell: 26,
  });
  // Drum along x, then turned about z with the rest.
  const turn: Vec3 = [0, 0, 0.6];
  const at: Vec3 = [-640, -130, 0];
  const place = (
    name: string,
    material: SurfaceMaterial,
    shape: SolidShape,
    local: Vec3,
    rotation: Vec3,
  ): ModelSolid => {
    const inner = solid('interior', name, material, shape, poseAt(local, rotation));
    return solid('interior', name, material, inner.shape, poseAt(at, turn));
  };
  const drum = revolve([
    [0, 0],
    [165, 0],
    [165, 14],
    [96, 22],
    [96, 238],
    [165, 246],
    [165, 260],
    [0, 260],
  ]);
  return [
    place('winch base', M.cast, roundedBox({ size: [520, 340, 34], radius: 12 }), [0, 0, -1040], [0, 0, 0]),
    place('winch cheek', M.signal, cheek, [-170, 0, 0], UPRIGHT_ALONG_Y),
    place('winch cheek', M.signal, cheek, [150, 0, 0], UPRIGHT_ALONG_Y),
    place('winch drum', M.steel, drum, [-130, 0, -840], Z_TO_X),
    place('winch gear', M.cast, pin(88, 110, 14), [165, 0, -840], Z_TO_X),
    place('winch shaft', M.brightSteel, pin(20, 520, 4), [-250, 0, -840], Z_TO_X),
    place(
      'winch crank',
      M.brightSteel,
      tube({
        path: [
          [-235, 0, -840],
          [-235, 120, -690],
          [-330, 120, -690],
        ],
        radius: 15,
        bendRadius: 36,
      }),
      [0, 0, 0],
      [0, 0, 0],
    ),
  ];
}

/** What stands near the door, where inside and outside overlap. */
export function cabinEquipment(): ModelSolid[] {
  return [...attendantDesk(), ...rescueWinch()];
}
