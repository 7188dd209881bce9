import type { Vec3 } from '../../math/index.ts';
import type { ModelSolid } from '../model-solid.ts';
import { plate } from '../solids/plate.ts';
import { pin } from '../solids/revolve.ts';
import { roundedBox } from '../solids/rounded-box.ts';
import { roundedRectangle, withoutOutlines } from '../solids/trimmed-grid.ts';
import { tube } from '../solids/tube.ts';
import { CABIN_MATERIALS as M, poseAt, solid, Z_TO_X } from './cabin-materials.ts';

function box(name: string, size: Vec3, radius: number, at: Vec3, made: ModelSolid['material'] = M.steel): ModelSolid {
  return solid('roof', name, made, roundedBox({ size, radius }), poseAt(at));
}

function liftingEye(x: number, y: number): ModelSolid {
  const path: Vec3[] = [
    [x - 34, y, 1196],
    [x + 34, y, 1196],
    [x + 34, y, 1264],
    [x - 34, y, 1264],
  ];
  return solid('roof', 'lifting eye', M.steel, tube({ path, radius: 10, bendRadius: 33.9, closed: true }));
}

/** What stands on the roof: beams that carry the suspension, hatch, cable box. */
export function cabinRoof(): ModelSolid[] {
  return [
    box('beam', [2300, 90, 84], 14, [0, 410, 1238]),
    box('beam', [2300, 90, 84], 14, [0, -410, 1238]),
    box('cross beam', [120, 930, 62], 12, [170, 0, 1299]),
    box('cross beam', [120, 930, 62], 12, [-170, 0, 1299]),
    solid(
      'roof',
      'hatch frame',
      M.steel,
      plate({
        outline: withoutOutlines(
          roundedRectangle(-340, 340, -340, 340, 60),
          roundedRectangle(-285, 285, -285, 285, 45),
        ),
        low: [-360, -360],
        high: [360, 360],
        thickness: 74,
        cell: 26,
      }),
      poseAt([830, 0, 1194]),
    ),
    box('hatch lid', [556, 556, 46], 20, [830, 0, 1222], M.paint),
    solid(
      'roof',
      'hatch handle',
      M.signal,
      tube({
        path: [
          [960, -90, 1240],
          [960, -90, 1300],
          [960, 90, 1300],
          [960, 90, 1240],
        ],
        radius: 11,
        bendRadius: 24,
      }),
    ),
    ...[-150, 150].map((y) =>
      solid('roof', 'hatch hinge', M.steel, pin(15, 110), poseAt([1168, y, 1240], [Math.PI / 2, 0, 0])),
    ),
    box('cable box', [320, 230, 150], 18, [-930, 130, 1268], M.liner),
    solid(
      'roof',
      'conduit',
      M.rubber,
      tube({
        path: [
          [-790, 180, 1265],
          [-420, 180, 1265],
          [-420, -60, 1265],
          [-420, -60, 1190],
        ],
        radius: 17,
        bendRadius: 55,
      }),
    ),
    solid('roof', 'mast', M.steel, pin(21, 330), poseAt([1260, -600, 1192])),
    solid('roof', 'lamp pod', M.liner, pin(62, 210), poseAt([-1330, -330, 1244], Z_TO_X)),
    liftingEye(1300, 700),
    liftingEye(-1300, 700),
    liftingEye(-1280, -700),
  ];
}
