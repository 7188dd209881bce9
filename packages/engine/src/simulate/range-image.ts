import type { RunContext } from '../base/index.ts';
import { cross, normalize, type Vec3 } from '../math/index.ts';
import { castIntoScene, type SimulatedScene } from './scene.ts';
import { drawSurfaceNoise, type SurfaceNoise } from './surface-noise.ts';

/**
 * A grid of rays. `perspective`: all from one standpoint, `step` is the tangent between neighbours; `parallel`: all in
 * one direction from a plane, `step` in mm. Row 0 is at the top, column 0 at the left, seen from the instrument.
 */
export interface RangeCamera {
  readonly kind: 'perspective' | 'parallel';
  readonly position: Vec3;
  readonly forward: Vec3;
  readonly up: Vec3;
  readonly columns: number;
  readonly rows: number;
  readonly step: number;
}

/** What limits and disturbs a range image. Lengths mm, along the ray. */
export interface RangeInstrument {
  readonly nearRange: number;
  readonly farRange: number;
  /** Largest angle between ray and surface normal that still gives a point, rad. */
  readonly incidenceLimit: number;
  readonly noise: SurfaceNoise;
  /** Share of points that are wild, 0 to 1, and how far, uniform in plus or minus. */
  readonly outlierShare: number;
  readonly outlierReach: number;
  /** Share of pixels beside a depth step that see both depths and give a point between. */
  readonly mixedShare: number;
}

/** No noise, no limits except 85 degrees of incidence. */
export const IDEAL_RANGE_INSTRUMENT: RangeInstrument = {
  nearRange: 0,
  farRange: Number.POSITIVE_INFINITY,
  incidenceLimit: (85 * Math.PI) / 180,
  noise: { white: 0, correlated: [] },
  outlierShare: 0,
  outlierReach: 0,
  mixedShare: 0,
};

/** An organised range image: one place a pixel, row by row. `triangle` is -1 where nothing was measured. */
export interface RangeImage {
  readonly camera: RangeCamera;
  /** Measured points, mm, scene coordinates, xyz interleaved. */
  readonly positions: Float64Array;
  /** Measured distance along the ray, mm. */
  readonly ranges: Float64Array;
  /** Triangle of the scene that was hit. */
  readonly triangle: Int32Array;
}

function rayGrid(camera: RangeCamera): { origins: Float64Array; directions: Float64Array } {
  const forward = normalize(camera.forward);
  const right = normalize(cross(forward, camera.up));
  const up = cross(right, forward);
  const count = camera.columns * camera.rows;
  const origins = new Float64Array(3 * count);
  const directions = new Float64Array(3 * count);
  for (let row = 0, i = 0; row < camera.rows; row++) {
    const b = ((camera.rows - 1) / 2 - row) * camera.step;
    for (let column = 0; column < camera.columns; column++, i++) {
      const a = (column - (camera.columns - 1) / 2) * camera.step;
      const length = camera.kind === 'perspective' ? Math.hypot(a, b, 1) : 1;
      for (let axis = 0; axis < 3; axis++) {
        const side = a * right[axis] + b * up[axis];
        if (camera.kind === 'perspective') {
          origins[3 * i + axis] = camera.position[axis];
          directions[3 * i + axis] = (forward[axis] + side) / length;
        } else {
          origins[3 * i + axis] = camera.position[axis] + side;
          directions[3 * i + axis] = forward[axis];
        }
      }
    }
  }
  return { origins, directions };
}

/** Blends ranges across depth steps: the spot of a real instrument lies partly on both surfaces. */
function mixAtDepthSteps(image: RangeCamera, ranges: Float64Array, share: number, random: () => number): Float64Array {
  const mixed = ranges.slice();
  const { columns, rows } = image;
  for (let row = 0; row < rows; row++) {
    for (let column = 0; column < columns; column++) {
      const i = row * columns + column;
      for (const j of [column + 1 < columns ? i + 1 : -1, row + 1 < rows ? i + columns : -1]) {
        if (j < 0 || !Number.isFinite(ranges[i]) || !Number.isFinite(ranges[j])) continue;
        const spacing = image.kind === 'perspective' ? image.step * Math.min(ranges[i], ranges[j]) : image.step;
        if (Math.abs(ranges[i] - ranges[j]) < 8 * spacing || random() >= share) continue;
        mixed[random() < 0.5 ? i : j] = ranges[i] + random() * (ranges[j] - ranges[i]);
      }
    }
  }
  return mixed;
}

/**
 * Captures one organised range image of a scene by ray casting.
 *
 * Frames   camera and result in the scene's coordinates.
 * Units    mm, rad. Noise acts along the ray.
 * Method   one ray a pixel; range, incidence and material decide whether it gives a point; then noise, mixed points at
 *          depth steps and outliers, in this order.
 * Repeats  bit for bit for the same seed and name.
 *
 * @param name stream name of this view
 */
export async function captureRangeImage(
  scene: SimulatedScene,
  camera: RangeCamera,
  instrument: RangeInstrument,
  name: string,
  context: RunContext,
): Promise<RangeImage> {
  const { origins, directions } = rayGrid(camera);
  const count = camera.columns * camera.rows;
  const triangle = new Int32Array(count).fill(-1);
  const places = new Float64Array(3 * count);
  let ranges: Float64Array = new Float64Array(count).fill(Number.POSITIVE_INFINITY);
  const reach = Number.isFinite(instrument.farRange) ? instrument.farRange : 3e38;
  const leastCosine = Math.cos(instrument.incidenceLimit);
  const chunk = 8192;
  for (let from = 0; from < count; from += chunk) {
    const to = Math.min(count, from + chunk);
    const d = directions.subarray(3 * from, 3 * to);
    const hits = castIntoScene(scene, origins.subarray(3 * from, 3 * to), d, reach);
    for (let k = 0; k < to - from; k++) {
      const hit = hits.triangle[k];
      if (hit < 0 || hits.distances[k] < instrument.nearRange) continue;
      const material = scene.materials[scene.triangleMaterial[hit]];
      const cosine = Math.abs(
        hits.normals[3 * k] * d[3 * k] +
          hits.normals[3 * k + 1] * d[3 * k + 1] +
          hits.normals[3 * k + 2] * d[3 * k + 2],
      );
      if (!material?.measurable || cosine < leastCosine) continue;
      triangle[from + k] = hit;
      ranges[from + k] = hits.distances[k];
      places.set(hits.positions.subarray(3 * k, 3 * k + 3), 3 * (from + k));
    }
    await context.checkpoint((0.8 * to) / count);
  }
  const noise = drawSurfaceNoise(instrument.noise, places, name, context);
  const trueRanges = ranges;
  if (instrument.mixedShare > 0) {
    ranges = mixAtDepthSteps(camera, ranges, instrument.mixedShare, context.random(`${name}/mixed`).uniform);
  }
  const wild = context.random(`${name}/outliers`);
  const positions = new Float64Array(3 * count).fill(Number.NaN);
  for (let i = 0; i < count; i++) {
    if (triangle[i] < 0) continue;
    let shift = ranges[i] - trueRanges[i] + noise[i];
    if (instrument.outlierShare > 0 && wild.uniform() < instrument.outlierShare) {
      shift += (2 * wild.uniform() - 1) * instrument.outlierReach;
    }
    ranges[i] = trueRanges[i] + shift;
    for (let axis = 0; axis < 3; axis++) {
      positions[3 * i + axis] = places[3 * i + axis] + shift * directions[3 * i + axis];
    }
  }
  await context.checkpoint(1);
  return { camera, positions, ranges, triangle };
}
