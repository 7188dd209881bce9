import type { RunContext } from '../base/index.ts';
import { add, cross, IDENTITY_POSE, norm, normalize, type Pose, scale, type Vec3 } from '../math/index.ts';
import type { ScanData } from '../model/index.ts';
import { captureRangeImage, IDEAL_RANGE_INSTRUMENT, type RangeCamera, type RangeInstrument } from './range-image.ts';
import { meshFromRangeImage } from './range-image-mesh.ts';
import { buildSimulatedScene, type SimulatedScene } from './scene.ts';

/** Options of `cutPartialView`. Lengths in the mesh's unit (mm). */
export interface PartialViewOptions {
  /** Distance of neighbouring points on a surface seen straight on. Default: a 150th of the object's largest radius from its centre. */
  readonly spacing?: number;
  /** Instrument's distance from the object's centre. Default: four times that radius. */
  readonly distance?: number;
  /** Limits and disturbances; what is not given is ideal. Default: none. */
  readonly instrument?: Partial<RangeInstrument>;
  /** Turn of the camera about the line of sight, rad, so that two views do not share a raster. Default 0. */
  readonly roll?: number;
  /** Frame in which the view is delivered. Default: the mesh's own. */
  readonly scanFromMesh?: Pose;
  /** Deliver colours. Default false. */
  readonly colors?: boolean;
  /** Stream name: views with different names have different noise. Default `partial-view`. */
  readonly name?: string;
}

/** Centre of the box and largest distance from it, mm, scene coordinates. */
function sphereAround(scene: SimulatedScene): { centre: Vec3; radius: number } {
  const low = [Number.POSITIVE_INFINITY, Number.POSITIVE_INFINITY, Number.POSITIVE_INFINITY];
  const high = [Number.NEGATIVE_INFINITY, Number.NEGATIVE_INFINITY, Number.NEGATIVE_INFINITY];
  const p = scene.positions;
  for (let i = 0; i < p.length; i++) {
    low[i % 3] = Math.min(low[i % 3], p[i]);
    high[i % 3] = Math.max(high[i % 3], p[i]);
  }
  const local: Vec3 = [(low[0] + high[0]) / 2, (low[1] + high[1]) / 2, (low[2] + high[2]) / 2];
  let radius = 0;
  for (let i = 0; i < p.length; i += 3) {
    radius = Math.max(radius, Math.hypot(p[i] - local[0], p[i + 1] - local[1], p[i + 2] - local[2]));
  }
  return { centre: add(scene.origin, local), radius };
}

/**
 * Cuts the part of a mesh that one instrument sees from one side, as an organised range image made into a mesh.
 *
 * Frames   `viewDirection` in the mesh's frame; the result in the frame of `scanFromMesh`.
 * Units    mm (or any one unit throughout).
 * Method   perspective ray casting from one standpoint, one ray a pixel; noise along the ray; depth steps cut.
 * Repeats  bit for bit for the same seed and name.
 *
 * @param mesh a mesh, or a scene built of it (saves building the index for every view)
 * @param viewDirection from the object towards the instrument
 * @throws RangeError for a mesh without triangles or a direction of length zero
 * @example
 * const scene = buildSimulatedScene(dragon);
 * const view = await cutPartialView(scene, [1, 0, 0], { instrument: { noise: { white: 0.05, correlated: [] } } }, context);
 */
export async function cutPartialView(
  mesh: ScanData | SimulatedScene,
  viewDirection: Vec3,
  options: PartialViewOptions,
  context: RunContext,
): Promise<ScanData> {
  const scene = 'index' in mesh ? mesh : buildSimulatedScene(mesh);
  try {
    const { centre, radius } = sphereAround(scene);
    const toInstrument = normalize(viewDirection);
    const distance = options.distance ?? 4 * radius;
    const step = (options.spacing ?? radius / 150) / distance;
    const pixels = Math.ceil(
      (2.05 * radius) / Math.sqrt(Math.max(distance * distance - radius * radius, 1e-300)) / step,
    );
    const aside: Vec3 = Math.abs(toInstrument[2]) < 0.9 ? [0, 0, 1] : [1, 0, 0];
    const right = normalize(cross(aside, toInstrument));
    const top = cross(toInstrument, right);
    const roll = options.roll ?? 0;
    const up = add(scale(top, Math.cos(roll)), scale(right, Math.sin(roll)));
    if (!(norm(up) > 0)) throw new RangeError('The camera has no upward direction.');
    const camera: RangeCamera = {
      kind: 'perspective',
      position: add(centre, scale(toInstrument, distance)),
      forward: scale(toInstrument, -1),
      up,
      columns: pixels,
      rows: pixels,
      step,
    };
    const instrument: RangeInstrument = { ...IDEAL_RANGE_INSTRUMENT, ...options.instrument };
    const image = await captureRangeImage(scene, camera, instrument, options.name ?? 'partial-view', context);
    return meshFromRangeImage(image, scene, {
      scanFromScene: options.scanFromMesh ?? IDENTITY_POSE,
      colors: options.colors ?? false,
    });
  } finally {
    if (scene !== mesh) scene.dispose();
  }
}
