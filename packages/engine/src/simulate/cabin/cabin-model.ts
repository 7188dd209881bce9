import type { ModelSolid } from '../model-solid.ts';
import { cabinBody } from './cabin-body.ts';
import { cabinDoor } from './cabin-door.ts';
import { cabinEquipment } from './cabin-equipment.ts';
import { cabinInterior } from './cabin-interior.ts';
import { cabinRoof } from './cabin-roof.ts';
import { suspension } from './suspension.ts';

/** Angle of the open door in the sessions of the demo, rad: 105 degrees. */
export const CABIN_DOOR_ANGLE: number = (105 * Math.PI) / 180;

/** All solids of the invented ropeway cabin. */
export function cabinModel(doorAngle: number = CABIN_DOOR_ANGLE): ModelSolid[] {
  return [
    ...cabinBody(),
    ...cabinDoor(doorAngle),
    ...cabinInterior(),
    ...cabinEquipment(),
    ...cabinRoof(),
    ...suspension(),
  ];
}
