import { IDENTITY_POSE, type Pose, quaternionOfVector, type Vec3 } from '../../math/index.ts';
import type { ModelSolid, Rgb } from '../model-solid.ts';
import type { SurfaceMaterial } from '../scene.ts';
import { placeSolid, type SolidShape } from '../solids/solid-mesh.ts';

function material(name: string, color: Rgb, dropout = 0, measurable = true): SurfaceMaterial {
  return { name, color, dropout, measurable };
}

/** What the cabin is made of. Glass stops a ray and gives no point; bright steel and black rubber lose patches. */
export const CABIN_MATERIALS: Readonly<
  Record<'paint' | 'liner' | 'rubber' | 'wood' | 'steel' | 'brightSteel' | 'cast' | 'signal' | 'glass', SurfaceMaterial>
> = {
  paint: material('paint', [226, 219, 203]),
  liner: material('liner', [205, 209, 212]),
  rubber: material('rubber', [52, 54, 58], 0.01),
  wood: material('wood', [176, 128, 84]),
  steel: material('steel', [150, 156, 163], 0.004),
  brightSteel: material('bright steel', [198, 202, 206], 0.03),
  cast: material('cast iron', [96, 104, 112]),
  signal: material('signal paint', [196, 120, 40]),
  glass: material('glass', [120, 150, 160], 0, false),
};

/** A pose from a place and a rotation vector, mm and rad. */
export function poseAt(translation: Vec3, rotationVector: Vec3 = [0, 0, 0]): Pose {
  if (rotationVector.every((r) => r === 0) && translation.every((t) => t === 0)) return IDENTITY_POSE;
  return { rotation: quaternionOfVector(rotationVector), translation };
}

/** Turns local z to model y. */
export const Z_TO_Y: Vec3 = [-Math.PI / 2, 0, 0];
/** Turns local (x, y, z) to model (x, z, -y): a plate drawn in x and z, its thickness towards -y. */
export const UPRIGHT_ALONG_X: Vec3 = [Math.PI / 2, 0, 0];
/** Turns local (x, y, z) to model (y, z, x): a plate drawn in y and z, its thickness towards x. */
export const UPRIGHT_ALONG_Y: Vec3 = [
  (2 * Math.PI) / 3 / Math.sqrt(3),
  (2 * Math.PI) / 3 / Math.sqrt(3),
  (2 * Math.PI) / 3 / Math.sqrt(3),
];
/** Turns local z to model x. */
export const Z_TO_X: Vec3 = [0, Math.PI / 2, 0];

/** Names a shape of the model. */
export function solid(
  zone: string,
  name: string,
  made: SurfaceMaterial,
  shape: SolidShape,
  pose: Pose = IDENTITY_POSE,
  paint: ModelSolid['paint'] = null,
): ModelSolid {
  return { name, zone, material: made, shape: placeSolid(shape, pose), paint };
}
