import { compose, type Pose, type Vec3 } from '../../math/index.ts';
import type { ModelSolid, Rgb } from '../model-solid.ts';
import { pin } from '../solids/revolve.ts';
import { roundedBox } from '../solids/rounded-box.ts';
import { placeSolid, type SolidShape } from '../solids/solid-mesh.ts';
import { tube } from '../solids/tube.ts';
import { CABIN_MATERIALS as M, poseAt, solid } from './cabin-materials.ts';

/** Axis of the hinges, vertical, mm. */
const HINGE: Vec3 = [-1432, -1042, -75];
const LEAF: Vec3 = [838, 38, 1946];

/** Pose of the leaf in the model for an angle of opening, rad; 0 is closed. The leaf's own middle is its origin. */
function doorPose(angle: number): Pose {
  return compose(poseAt(HINGE, [0, 0, -angle]), poseAt([24 + LEAF[0] / 2, 0, 0]));
}

/** The hinged door, open by an angle. Local +y is the face towards the inside. */
export function cabinDoor(angle: number): ModelSolid[] {
  const modelFromLeaf = doorPose(angle);
  const at = (
    name: string,
    made: ModelSolid['material'],
    shape: SolidShape,
    translation: Vec3,
    paint: ModelSolid['paint'] = null,
  ): ModelSolid => solid('door', name, made, placeSolid(shape, poseAt(translation)), modelFromLeaf, paint);
  const window = { low: [-250, 0, 40], high: [270, 0, 800], radius: 85 } as const;
  const corners = (y: number): Vec3[] => [
    [window.low[0], y, window.low[2]],
    [window.high[0], y, window.low[2]],
    [window.high[0], y, window.high[2]],
    [window.low[0], y, window.high[2]],
  ];
  const lower: Rgb = [44, 104, 112];
  const bracket = (x: number, side: number, reach: number, low: number, high: number): Vec3[] => [
    [x, side * 15, low],
    [x, side * reach, low],
    [x, side * reach, high],
    [x, side * 15, high],
  ];
  return [
    at(
      'door leaf',
      M.paint,
      roundedBox({ size: LEAF, radius: 11, openings: [{ axis: 1, side: 0, ...window }] }),
      [0, 0, 0],
      (_x, _y, z) => (z < -320 ? lower : M.paint.color),
    ),
    at('door pane', M.glass, roundedBox({ size: [536, 8, 776], radius: 3 }), [10, 0, 420]),
    at('door seal', M.rubber, tube({ path: corners(-19), radius: 11, bendRadius: 85, closed: true }), [0, 0, 0]),
    at('door seal', M.rubber, tube({ path: corners(19), radius: 9, bendRadius: 85, closed: true }), [0, 0, 0]),
    at(
      'door handle',
      M.brightSteel,
      tube({ path: bracket(340, -1, 80, -210, 130), radius: 13, bendRadius: 28 }),
      [0, 0, 0],
    ),
    at('door pull', M.signal, tube({ path: bracket(310, 1, 72, -480, -180), radius: 11, bendRadius: 24 }), [0, 0, 0]),
    at('lock', M.steel, roundedBox({ size: [170, 52, 120], radius: 10 }), [315, 40, -60]),
    at('door lining', M.liner, roundedBox({ size: [690, 10, 270], radius: 4.5 }), [-20, 21, -760]),
    at('door stiffener', M.steel, roundedBox({ size: [700, 26, 60], radius: 9 }), [-10, 26, -330]),
    ...[-760, 90, 780].flatMap((z) => [
      at('hinge strap', M.steel, roundedBox({ size: [150, 52, 74], radius: 9 }), [-LEAF[0] / 2 + 40, 0, z]),
      at('hinge pin', M.brightSteel, pin(15, 150), [-LEAF[0] / 2 - 24, 0, z - 75]),
    ]),
    ...[-760, 90, 780].map((z) =>
      solid(
        'body',
        'hinge block',
        M.steel,
        roundedBox({ size: [56, 62, 66], radius: 9 }),
        poseAt([HINGE[0] - 12, HINGE[1] + 20, HINGE[2] + z - 72]),
      ),
    ),
  ];
}
